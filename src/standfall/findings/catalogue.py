"""The numbered catalogue: every code a finding may carry, its grade and its title.

A number is never used twice: a finding that is dropped leaves a gap. ``docs/findings.md`` describes
each, and a test compares the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class CatalogueEntry:
    """Grade and title of a code."""

    grade: Literal["blocks", "warns", "notes"]
    title: str


def _blocks(title: str) -> CatalogueEntry:
    return CatalogueEntry("blocks", title)


def _warns(title: str) -> CatalogueEntry:
    return CatalogueEntry("warns", title)


def _notes(title: str) -> CatalogueEntry:
    return CatalogueEntry("notes", title)


CATALOGUE: dict[str, CatalogueEntry] = {
    # B: the brief as a text
    "B101": _blocks("the brief cannot be read"),
    "B102": _blocks("the brief is not valid TOML"),
    "B103": _blocks("a key or section the brief does not have"),
    "B104": _blocks("a needed key or section is missing"),
    "B105": _blocks("a value of the wrong kind"),
    "B106": _blocks("a number outside its bounds"),
    "B107": _blocks("a word that is not one of the choices"),
    "B108": _blocks("a text that is empty, too long or not printable"),
    "B109": _blocks("a name used twice"),
    "B110": _blocks("a name that nothing carries"),
    "B111": _blocks("keys that contradict each other"),
    "B112": _blocks("more dominoes than a build file is meant for"),
    # P: pictures
    "P201": _blocks("a picture is missing"),
    "P202": _blocks("a picture outside the brief's folder"),
    "P203": _blocks("a picture that cannot be decoded"),
    "P204": _blocks("a picture of absurd size"),
    "P205": _blocks("a picture file that refers to other files"),
    "P206": _notes("something about a picture worth knowing"),
    "P207": _warns("a picture with less detail than the field has cells"),
    "P208": _blocks("a picture that leaves no domino in its field"),
    # C: colours and stock
    "C301": _blocks("not enough dominoes in stock"),
    "C302": _blocks("a line needs more of a colour than there is"),
    "C303": _notes("a colour whose stock binds"),
    "C304": _warns("two colours that are hard to tell apart"),
    "C305": _blocks("no purchase within the budget is enough"),
    "C306": _warns("packs to buy before the build"),
    "C307": _notes("specks left because no stock was left to recolour them"),
    # S: the standing set
    "S401": _blocks("pieces closer than they are thick or wide"),
    "S402": _blocks("dominoes standing in one another"),
    "S403": _blocks("a field outside the hall"),
    "S404": _blocks("a line outside the hall"),
    "S405": _blocks("a line too short to stand on"),
    "S406": _blocks("an arc tighter than its pieces allow"),
    "S407": _blocks("a hall outline that is no floor"),
    "S408": _blocks("a camera that cannot see the field"),
    "S409": _warns("floor load above what the hall allows"),
    "S410": _warns("fields that share floor"),
    # T: tiles
    "T501": _blocks("a tray that does not fit the field"),
    "T503": _notes("tiles that are not full"),
    # F: the fall
    "F701": _blocks("nothing starts the fall"),
    "F702": _blocks("a starter that touches nothing"),
    "F703": _blocks("a push too weak for the first pieces"),
    "F704": _blocks("a starter that fells nothing"),
    "F705": _blocks("dominoes that stay standing"),
    "F706": _warns("gaps beyond what the model knows"),
    "F707": _warns("turns beyond what the model knows"),
    "F708": _warns("pieces that meet by less than a quarter"),
    "F709": _warns("a floor too slippery for these gaps"),
    "F710": _warns("gaps so narrow that the fall may die"),
    "F711": _warns("stacked pieces, beyond what the model knows"),
    "F712": _warns("a turned piece may sweep into its neighbour"),
    "F713": _warns("pieces that fall against their direction"),
    "F714": _notes("fronts that meet"),
    "F715": _warns("a line that ends in the air"),
    "F716": _warns("a fall that runs into a wall"),
    "F717": _warns("a gap that neither carries nor stops a fall"),
    "F718": _warns("little margin before the fall would die"),
    "F719": _warns("a floor or hall that may topple pieces"),
    "F720": _notes("what the prediction takes for granted"),
    "F721": _warns("less than 99 % chance that all fall"),
    "F722": _warns("tiles that may touch when they are set down"),
    "F723": _blocks("a chain that cannot be read"),
    # H: the hall
    "H801": _blocks("an area that is none"),
    "H802": _warns("an area outside the hall"),
    "H803": _blocks("areas that leave no floor"),
    "H804": _blocks("a dock that is not on free floor"),
    "H805": _blocks("a dock where its robot does not fit"),
    "H806": _warns("a robot that cannot turn at its dock, and has to"),
    "H807": _notes("a robot that cannot turn at its dock"),
    "H808": _blocks("a part of a robot that is no outline"),
    "H809": _blocks("a robot with nothing near the floor"),
    "H810": _blocks("a robot that cannot leave its own tile"),
    "H811": _blocks("docks too close together"),
    "H812": _warns("fewer docks than robots"),
    "H813": _blocks("a field or line where no domino may stand"),
    "H814": _warns("a way out that people cannot reach"),
    "H815": _blocks("a drawing of the hall that cannot be read"),
    "H816": _blocks("a drawing of the hall that does not close"),
    "H817": _blocks("a drawing of the hall in unlikely units"),
    "H818": _notes("what was read from a drawing of the hall"),
    "H819": _warns("a part of a drawing of the hall that is left out or guessed"),
    # R: laying order, ways and traffic
    "R901": _blocks("tiles that cannot all be laid"),
    "R902": _blocks("a tile that no robot can set down"),
    "R903": _blocks("hand work that nobody can reach"),
    "R904": _warns("tiles that only people can lay"),
    "R905": _warns("a robot that can lay no tile"),
    "R906": _warns("a dock without a way to any tile"),
    "R907": _warns("a lane narrower than the robot"),
    "R914": _blocks("tiles without a way that a trip can take"),
    "R915": _blocks("hand work behind robots at their docks"),
    "R920": _blocks("a trip longer than a battery lasts"),
    "R921": _blocks("a robot at its dock in the way of others"),
    "R922": _warns("a robot that is not used"),
    "R923": _blocks("a dock that no robot can serve"),
    "R930": _blocks("a list of states that cannot be read"),
    # K: the build file
    "K601": _blocks("not a build file, or one from a newer version"),
}
