"""Tables of a plate and what is glued to it, top or back, in top.toml, with the range of every number.

Depends on fem/toml_table. Upper bounds are chosen wide enough for a piano's soundboard and for the plates
of the published checks, and narrow enough that a slip of a decimal point cannot ask for hours of work.
"""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from bracedtop.fem.toml_table import Form, Line, Name, Table, one_form, refuse

MAX_BRACES = 200
MAX_PATCHES = 50
MAX_HOLES = 20
MAX_POINTS = 2000

Length = Annotated[float, Field(gt=0, le=20_000)]
Height = Annotated[float, Field(ge=0, le=2_000)]
Thickness = Annotated[float, Field(gt=0, le=2_000)]
Radius = Annotated[float, Field(gt=0, le=1_000_000)]
Coordinate = Annotated[float, Field(ge=-20_000, le=20_000)]
Angle = Annotated[float, Field(ge=-360, le=360)]
Frequency = Annotated[float, Field(gt=0, le=20_000)]
Modulus = Annotated[float, Field(gt=0, le=1_000)]
Poisson = Annotated[float, Field(gt=-5, lt=5)]
Stress = Annotated[float, Field(gt=0, le=10_000)]
LossFactor = Annotated[float, Field(ge=0, lt=1)]
Density = Annotated[float, Field(gt=0, le=25_000)]
Spring = Annotated[float, Field(ge=0, le=1e9)]
RingAngle = Annotated[float, Field(ge=-90, le=90)]
Runout = Annotated[float, Field(ge=-45, le=45)]
Moisture = Annotated[float, Field(ge=2, le=25)]
Humidity = Annotated[float, Field(ge=5, le=95)]
Celsius = Annotated[float, Field(ge=0, le=50)]
Pair = Annotated[list[Coordinate], Field(min_length=2, max_length=2)]
Points = Annotated[list[Pair], Field(min_length=3, max_length=MAX_POINTS)]
Path = Annotated[list[Pair], Field(min_length=2, max_length=MAX_POINTS)]
Sizes = Annotated[list[Length], Field(min_length=2, max_length=2)]

BODY_KEYS = (
    "body_length_mm",
    "lower_bout_mm",
    "lower_bout_at_mm",
    "waist_mm",
    "waist_at_mm",
    "upper_bout_mm",
    "upper_bout_at_mm",
)


class OutlineTable(Table):
    """[outline]: a guitar-like body, or listed points."""

    body_length_mm: Length | None = None
    lower_bout_mm: Length | None = None
    lower_bout_at_mm: Length | None = None
    waist_mm: Length | None = None
    waist_at_mm: Length | None = None
    upper_bout_mm: Length | None = None
    upper_bout_at_mm: Length | None = None
    points_mm: Points | None = None
    smooth: bool = False

    @model_validator(mode="after")
    def _check(self) -> "OutlineTable":
        one_form(self, [(set(BODY_KEYS), set()), ({"points_mm"}, {"smooth"})], "an outline")
        return self


class HoleTable(Table):
    """[[hole]]: round or elliptical."""

    centre_mm: Pair
    diameter_mm: Length | None = None
    size_mm: Sizes | None = None
    angle_deg: Angle = 0.0

    @model_validator(mode="after")
    def _check(self) -> "HoleTable":
        one_form(self, [({"diameter_mm"}, set()), ({"size_mm"}, {"angle_deg"})], "a hole")
        return self


DIRECTIONS = ("dome_radius_along_mm", "dome_radius_across_mm")


class TopTable(Table):
    """[top]: the plate."""

    wood: Name
    thickness_mm: Thickness
    grain_angle_deg: Angle = 0.0
    ring_angle_deg: RingAngle = 0.0
    runout_deg: Runout = 0.0
    edge_ring_width_mm: Height = 0.0
    edge_ring_reduction_mm: Height = 0.0
    thickness_csv: Line | None = None
    dome_radius_mm: Radius | None = None
    dome_radius_along_mm: Radius | None = None
    dome_radius_across_mm: Radius | None = None
    crown_mm: Pair | None = None

    @model_validator(mode="after")
    def _check(self) -> "TopTable":
        by_direction = [key for key in DIRECTIONS if getattr(self, key) is not None]
        if self.dome_radius_mm is not None and by_direction:
            refuse(f"dome_radius_mm together with {by_direction[0]}; one radius for both directions, or one for each")
        if self.crown_mm is not None and self.dome_radius_mm is None and not by_direction:
            refuse(f"crown_mm without a dome; allowed beside dome_radius_mm or {' or '.join(DIRECTIONS)}")
        return self


class ThicknessTable(Table):
    """[[thickness]]: an area with a thickness of its own."""

    points_mm: Points
    thickness_mm: Thickness


class BraceTable(Table):
    """[[brace]]."""

    name: Name
    wood: Name
    path_mm: Path
    width_mm: Thickness
    stations_mm: Annotated[
        list[Annotated[list[Height], Field(min_length=2, max_length=2)]], Field(min_length=2, max_length=MAX_POINTS)
    ]
    shape: Literal["square", "rounded", "peaked"] = "square"
    ring_angle_deg: RingAngle = 0.0
    runout_deg: Runout = 0.0


class PatchTable(Table):
    """[[patch]]: points, a rectangle, or a ring around a hole."""

    name: Name
    kind: Literal["bridge", "bridge_plate", "hole_reinforcement", "neck_reinforcement", "graft"]
    wood: Name
    thickness_mm: Thickness | None = None
    profile_mm: Path | None = None
    profile_angle_deg: Angle | None = None
    side: Literal["inside", "outside"] | None = None
    grain_angle_deg: Angle = 0.0
    ring_angle_deg: RingAngle = 0.0
    runout_deg: Runout = 0.0
    points_mm: Points | None = None
    centre_mm: Pair | None = None
    size_mm: Sizes | None = None
    angle_deg: Angle = 0.0
    around_hole: Annotated[int, Field(ge=1, le=MAX_HOLES)] | None = None
    width_mm: Length | None = None
    under_braces: bool = False

    @model_validator(mode="after")
    def _check(self) -> "PatchTable":
        forms: list[Form] = [
            ({"points_mm"}, set()),
            ({"centre_mm", "size_mm"}, {"angle_deg"}),
            ({"around_hole", "width_mm"}, set()),
        ]
        one_form(self, forms, "a patch")
        one_form(self, [({"thickness_mm"}, set()), ({"profile_mm"}, {"profile_angle_deg"})], "a patch's thickness")
        if self.under_braces and (self.side == "outside" or (self.side is None and self.kind == "bridge")):
            refuse(
                'under_braces = true on a patch outside; braces are inside, so that only a patch with side = "inside" '
                "can be under them"
            )
        return self


class MassTable(Table):
    """[[mass]]: something small and heavy on the top."""

    name: Name
    grams: Annotated[float, Field(gt=0, le=1_000_000)]
    at_mm: Pair
    diameter_mm: Length | None = None
    height_mm: Coordinate = 0.0


class JointTable(Table):
    """[[joint]]: which brace passes under which."""

    under: Name
    over: Name
    kept_mm: Height | None = None
    cap_mm: Thickness | None = None
    cap_length_mm: Length | None = None

    @model_validator(mode="after")
    def _check(self) -> "JointTable":
        given = [key for key in ("cap_mm", "cap_length_mm") if getattr(self, key) is not None]
        if len(given) == 1:
            refuse(f"{given[0]} alone; a cap over the joint takes cap_mm + cap_length_mm")
        return self
