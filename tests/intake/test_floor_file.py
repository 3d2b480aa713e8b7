"""The hall's drawing from the disk: where it may be, and what becomes of the brief that names it."""

import hashlib
import os

import pytest
import shapely
from floor_case import (
    DEPOT_M,
    add_loop,
    by_code,
    depot_bytes,
    dxf_bytes,
    levels_of,
    map_yaml,
    new_drawing,
    picture_of,
)

from standfall.findings import blocked
from standfall.intake import read_brief
from standfall.intake.floor_file import read_floor

ROOM = """
####################
#..................#
#..................#
#..................#
#..................#
#..................#
#..................#
#..................#
#..................#
#..................#
#..................#
####################
"""


def hall_of(small, **hall):
    small["hall"] = {"floor_load_kpa": 5.0, **hall}
    return small


@pytest.fixture
def drawn(small, job_folder):
    """A brief whose hall is drawn: the depot with an exit and two pillars."""
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M, layer="Floor")
    add_loop(space, [(16, 0), (18, 0), (18, 1.5), (16, 1.5)], layer="exit")
    for x in (6, 12):
        add_loop(space, [(x, 8), (x + 0.4, 8), (x + 0.4, 8.4), (x, 8.4)], layer="pillar")
    (job_folder / "depot.dxf").write_bytes(dxf_bytes(document))
    return hall_of(small, drawing="depot.dxf")


def test_hall_and_areas_of_the_brief_are_those_of_the_drawing(drawn, write_brief, job_folder):
    drawn["area"] = [{"name": "Pillar 1", "kind": "pillar", "centre_m": [3, 9], "radius_mm": 200}]
    commission = read_brief(write_brief(drawn))
    assert not blocked(commission.findings)
    brief = commission.brief
    assert brief.hall.outline_m == commission.reading.hall.outline_m == DEPOT_M
    assert brief.hall.floor_load_pa == 5000.0
    # The brief's own areas stay first; a name that is taken (capitals ignored) is not given again.
    assert [(area.name, area.kind) for area in brief.areas] == [
        ("Pillar 1", "pillar"),
        ("pillar 2", "pillar"),
        ("pillar 3", "pillar"),
        ("exit 1", "exit"),
    ]
    assert shapely.Polygon(brief.areas[1].outline_m).equals(shapely.box(6, 8, 6.4, 8.4))


def test_the_drawing_is_kept_with_the_pictures(drawn, write_brief, job_folder):
    commission = read_brief(write_brief(drawn))
    assert [file.name for file in commission.files] == ["depot.dxf", "picture.png"]
    data = (job_folder / "depot.dxf").read_bytes()
    assert commission.files[0].data == data
    assert commission.files[0].sha256 == hashlib.sha256(data).hexdigest()


def test_the_layer_is_that_of_the_brief(small, write_brief, job_folder):
    document, space = new_drawing(unit=4)
    add_loop(space, DEPOT_M, layer="shed 2")
    (job_folder / "depot.dxf").write_bytes(dxf_bytes(document))
    commission = read_brief(write_brief(hall_of(small, drawing="depot.dxf", drawing_layer="Shed 2")))
    assert commission.brief.hall.outline_m == DEPOT_M


def test_a_map_is_read_with_its_picture_and_both_are_kept(small, write_brief, job_folder):
    (job_folder / "maps").mkdir()
    (job_folder / "maps" / "depot.yaml").write_bytes(map_yaml())
    (job_folder / "maps" / "depot.pgm").write_bytes(picture_of(levels_of(ROOM)))
    commission = read_brief(write_brief(hall_of(small, drawing="maps/depot.yaml")))
    # 18 by 10 free cells of 0.5 m from (-0.5, 2.5).
    assert shapely.Polygon(commission.brief.hall.outline_m).equals(shapely.box(-0.5, 2.5, 8.5, 7.5))
    assert [file.name for file in commission.files] == ["maps/depot.yaml", "maps/depot.pgm", "picture.png"]


def test_without_a_floor_there_is_no_brief_to_plan(drawn, write_brief, job_folder):
    (job_folder / "depot.dxf").write_bytes(b"no drawing")
    commission = read_brief(write_brief(drawn))
    assert "H815" in by_code(commission.findings)
    assert commission.brief is None
    assert commission.reading.hall is None
    from standfall.planning import make_plan

    outcome = make_plan(commission)
    assert outcome.blocked
    assert outcome.plan is None


def test_the_drawn_floor_decides_what_fits(drawn, write_brief, job_folder):
    # The same field in a hall of 2 m by 2 m does not fit.
    (job_folder / "depot.dxf").write_bytes(depot_bytes(4, 1000.0 / 9.0))
    from standfall.planning import make_plan

    outcome = make_plan(read_brief(write_brief(drawn)))
    assert "S403" in by_code(outcome.findings)


# ---------------------------------------------------------------- where a file may be


@pytest.fixture
def folders(tmp_path):
    """A brief's folder, and one beside it that holds files too."""
    job, other = tmp_path / "job", tmp_path / "other"
    for folder in (job, other):
        folder.mkdir()
        (folder / "depot.dxf").write_bytes(depot_bytes())
        (folder / "depot.yaml").write_bytes(map_yaml())
        (folder / "depot.pgm").write_bytes(picture_of(levels_of(ROOM)))
    return job, other


def refused(found):
    return found.drawing is None and [finding.code for finding in found.findings] == ["H815"]


def test_a_path_out_of_the_folder_is_refused_and_an_absolute_one_is_taken(folders):
    job, other = folders
    assert refused(read_floor(job, "../other/depot.dxf", "floor"))
    assert read_floor(job, str(other / "depot.dxf"), "floor").drawing is not None
    assert read_floor(job, str(other / "depot.yaml"), "floor").drawing is not None
    (job / "link.dxf").symlink_to(other / "depot.dxf")
    assert refused(read_floor(job, "link.dxf", "floor"))


@pytest.mark.parametrize(
    "image", ["../other/depot.pgm", "maps/../../other/depot.pgm", "ABSOLUTE", "link.pgm"]
)
def test_a_map_may_not_name_a_picture_elsewhere(folders, image):
    job, other = folders
    (job / "link.pgm").symlink_to(other / "depot.pgm")
    image = str(other / "depot.pgm") if image == "ABSOLUTE" else image
    (job / "depot.yaml").write_bytes(map_yaml(image=image))
    found = read_floor(job, "depot.yaml", "floor")
    assert refused(found)
    assert [file.name for file in found.files] == ["depot.yaml"]


@pytest.mark.parametrize(
    "name", ["gone.dxf", "gone.yaml", "folder.dxf", "hall.dwg", "hall", "a\0b.dxf", "x" * 999 + ".dxf"]
)
def test_what_is_no_file_of_a_floor_is_refused(folders, name):
    job, _ = folders
    (job / "folder.dxf").mkdir()
    assert refused(read_floor(job, name, "floor"))


def test_a_missing_picture_of_a_map_is_told(folders):
    job, _ = folders
    (job / "depot.pgm").unlink()
    found = read_floor(job, "depot.yaml", "floor")
    assert refused(found)
    assert found.findings[0].value == "depot.pgm"


def test_a_file_that_is_too_large_is_not_read_further(folders):
    job, _ = folders
    with (job / "large.dxf").open("wb") as file:
        os.truncate(file.fileno(), 40 * 1024 * 1024)  # a hole, no room taken on the disk
    found = read_floor(job, "large.dxf", "floor")
    assert refused(found)
    assert "absurdly large" in found.findings[0].message
