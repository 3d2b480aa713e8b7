"""One standing piece as a rigid block: what tips it, and how it falls when nothing is in its way.

The block is a solid box of even density that turns about its leading bottom edge; its foot does not slip. With
height h, thickness d along the fall, R = sqrt(h^2 + d^2) / 2 from the edge to the middle and alpha = atan(d / h),
weight holds it upright with the moment m g R sin(alpha - theta) at lean theta: G. W. Housner, "The behavior of
inverted pendulum structures during earthquakes", Bull. Seism. Soc. Am. 53 (1963) 403-417, equation 1. On a floor
that falls by ``slope_rad`` in the direction of the fall, alpha - slope takes the place of alpha, because the
middle then stands that much nearer to being over the edge. A slope is positive where the piece falls downhill.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import ellipkinc, ellipkm1

from standfall.fall.ground import GRAVITY_M_S2


@dataclass(frozen=True)
class Block:
    """A solid box that stands on its narrow foot.

    Attributes:
        height_m: standing height.
        thickness_m: along the fall.
        mass_kg: mass.

    Raises:
        ValueError: one of them is not a finite number above 0.
    """

    height_m: float
    thickness_m: float
    mass_kg: float

    def __post_init__(self) -> None:
        for name in ("height_m", "thickness_m", "mass_kg"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} of a block must be a number above 0, not {value!r}")

    @property
    def radius_m(self) -> float:
        """Return R, from the edge it turns about to its middle."""
        return 0.5 * math.hypot(self.height_m, self.thickness_m)

    @property
    def inertia_kg_m2(self) -> float:
        """Return the moment of inertia about the leading bottom edge, m (h^2 + d^2) / 3 of a solid box."""
        return self.mass_kg * (self.height_m**2 + self.thickness_m**2) / 3

    @property
    def growth_per_s(self) -> float:
        """Return Omega = sqrt(3 g / (4 R)): near balance a lean grows e-fold in 1 / Omega (Housner's p)."""
        return math.sqrt(0.75 * GRAVITY_M_S2 / self.radius_m)

    @property
    def percussion_height_m(self) -> float:
        """Return the height of the centre of percussion, I / (m h / 2) = (2/3) (1 + d^2 / h^2) h.

        A hit at this height leaves the foot in peace; a higher one kicks it backward, a lower one forward.
        """
        return self.inertia_kg_m2 / (self.mass_kg * 0.5 * self.height_m)

    @property
    def knock_energy_kept(self) -> float:
        """Return the share of energy kept when it rocks over from one edge to the other without a bounce.

        (1 - 1.5 sin^2 alpha)^2, after Housner (1963): angular momentum about the new edge is conserved. 0 where
        a block is so thick that it stops dead.
        """
        kept = 1 - 1.5 * math.sin(self.tip_angle_rad()) ** 2
        return max(kept, 0.0) ** 2

    def tip_angle_rad(self, slope_rad: float = 0.0) -> float:
        """Return the lean from its stand at which the middle is over the edge, atan(d / h) less the slope.

        Negative where it cannot stand at all.
        """
        return math.atan2(self.thickness_m, self.height_m) - slope_rad

    def west_ratio(self, slope_rad: float = 0.0) -> float:
        """Return the steady level acceleration, over g, from which it begins to tip: d / h on a level floor.

        Known as West's formula (the name from memory; the ratio is the balance of moments about the edge). On a
        slope it is tan(alpha - slope). 0 where it cannot stand.
        """
        return math.tan(max(self.tip_angle_rad(slope_rad), 0.0))

    def slides_first(
        self, floor_friction: float, push_height_m: float | None = None, slope_rad: float = 0.0
    ) -> bool:
        """Tell whether a growing push along the floor slides the foot before it tips the piece.

        Balance of forces and moments: it slides when friction is below d / (2 z) on a level floor, z the height
        of the push. A load on its middle, such as a shaken floor, has z = h / 2 and so d / h.

        Args:
            floor_friction: coefficient of foot on floor.
            push_height_m: z; the middle of the piece when left out.
            slope_rad: slope along the push.

        Raises:
            ValueError: a push at or below the floor.
        """
        height_m = 0.5 * self.height_m if push_height_m is None else push_height_m
        if not height_m > 0:
            raise ValueError("a push must be above the floor")
        # In shares of the weight m g cos(slope): what tips it, and what slides it.
        lean = math.tan(slope_rad)
        tips = (self.thickness_m - self.height_m * lean) / (2 * height_m)
        return floor_friction - lean < tips

    def tip_force_n(self, slope_rad: float = 0.0) -> float:
        """Return the force along the floor at the top edge that begins to tip it: m g d / (2 h) when level."""
        tip_rad = max(self.tip_angle_rad(slope_rad), 0.0)
        return self.mass_kg * GRAVITY_M_S2 * self.radius_m * math.sin(tip_rad) / self.height_m

    def tip_energy_j(self, slope_rad: float = 0.0) -> float:
        """Return the energy that lifts its middle over the edge: m g (R - h / 2) when level."""
        # 1 - cos(x) written as 2 sin^2(x / 2), which keeps its digits for small x.
        tip_rad = max(self.tip_angle_rad(slope_rad), 0.0)
        return 2 * self.mass_kg * GRAVITY_M_S2 * self.radius_m * math.sin(0.5 * tip_rad) ** 2

    def least_tip_omega_rad_s(self, slope_rad: float = 0.0) -> float:
        """Return the angular speed, given to it standing, that just tips it: 2 Omega sin(tip angle / 2)."""
        return 2 * self.growth_per_s * math.sin(0.5 * max(self.tip_angle_rad(slope_rad), 0.0))

    def least_tip_speed_m_s(self, slope_rad: float = 0.0) -> float:
        """Return the speed of its top edge along the floor that goes with the least tip angular speed."""
        return self.least_tip_omega_rad_s(slope_rad) * self.height_m

    def flat_rad(self, slope_rad: float = 0.0) -> float:
        """Return how far past balance it lies flat on the floor."""
        return 0.5 * math.pi - self.tip_angle_rad(slope_rad)

    def fall_time_s(self, start_rad: float, end_rad: float) -> float:
        """Return the time it takes, let go at rest past balance, to fall freely to a greater angle.

        From energy, with phi the angle past balance: t = [K(k) - F(xi, k)] / Omega, k = cos(phi_start / 2),
        sin xi = cos(phi_end / 2) / k, with Legendre's elliptic integrals of the first kind.

        Args:
            start_rad, end_rad: angles past balance, 0 < start <= end <= pi.

        Raises:
            ValueError: angles out of that order.
        """
        if not 0 < start_rad <= end_rad <= math.pi:
            raise ValueError("a free fall runs from an angle past balance to a greater one, at most pi")
        k = math.cos(0.5 * start_rad)
        xi = math.asin(min(math.cos(0.5 * end_rad) / k, 1.0))
        # 1 - k^2 goes in as sin^2, because K grows without bound where k is close to 1.
        whole = float(ellipkm1(math.sin(0.5 * start_rad) ** 2))
        return (whole - float(ellipkinc(xi, k * k))) / self.growth_per_s

    def omega_past_balance_rad_s(self, past_rad: float) -> float:
        """Return its angular speed after falling freely from balance, at rest, by this angle."""
        return 2 * self.growth_per_s * math.sin(0.5 * past_rad)

    def flat_speed_m_s(self, slope_rad: float = 0.0) -> float:
        """Return the speed of its top edge as it lands flat, having fallen freely from balance."""
        return self.omega_past_balance_rad_s(self.flat_rad(slope_rad)) * self.height_m
