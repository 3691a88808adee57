"""Tables and keys of top.toml, with the range of every number.

Depends on fem/box_schema, fem/case_build, fem/part_schema, fem/toml_table.
"""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from bracedtop.fem.box_schema import BackTable, BlockTable, BoxTable, ClosedTable, FinishTable, LiningTable, SidesTable
from bracedtop.fem.case_build import BuildTable
from bracedtop.fem.part_schema import (
    MAX_BRACES,
    MAX_HOLES,
    MAX_PATCHES,
    BraceTable,
    Celsius,
    Density,
    Frequency,
    Height,
    HoleTable,
    Humidity,
    JointTable,
    Length,
    LossFactor,
    MassTable,
    Modulus,
    Moisture,
    OutlineTable,
    Pair,
    PatchTable,
    Poisson,
    Spring,
    Stress,
    ThicknessTable,
    TopTable,
)
from bracedtop.fem.toml_table import Form, Line, Name, Table, Text, one_form, refuse

MAX_STRINGS = 300
MAX_REGIONS = 50
MAX_MASSES = 50

SPRING_KEYS = ("deflection_n_per_mm2", "rotation_n_per_rad", "inplane_n_per_mm2")


class EdgeTable(Table):
    """[edge]: how the rim is held."""

    kind: Literal["free", "clamped", "hinged", "springs"] = "clamped"
    deflection_n_per_mm2: Spring | None = None
    rotation_n_per_rad: Spring | None = None
    inplane_n_per_mm2: Spring | None = None

    @model_validator(mode="after")
    def _check(self) -> "EdgeTable":
        springs = [key for key in SPRING_KEYS if getattr(self, key) is not None]
        if self.kind != "springs" and springs:
            refuse(f'{springs[0]} with kind = "{self.kind}"; springs are allowed with kind = "springs" only')
        if self.kind == "springs" and not any(getattr(self, key) for key in springs):
            refuse(f'kind = "springs" without a spring; at least one of {", ".join(SPRING_KEYS)} must be > 0')
        return self


class TargetTable(Table):
    """[[target]]: where the maker wants a mode."""

    mode: Annotated[int, Field(ge=1, le=200)]
    hz: Frequency | None = None
    note: Line | None = None
    cents: Annotated[float, Field(ge=-1200, le=1200)] = 0.0
    tolerance_percent: Annotated[float, Field(gt=0, le=10)] = 1.0
    ratio_to_mode: Annotated[int, Field(ge=1, le=200)] | None = None
    ratio: Annotated[float, Field(ge=0.01, le=100)] | None = None
    away_from: Line | None = None
    at_least_cents: Annotated[float, Field(gt=0, le=600)] | None = None
    keep_within_cents: Annotated[float, Field(gt=0, le=600)] | None = None
    sustain_s: Annotated[float, Field(gt=0, le=60)] | None = None
    weight: Literal["must", "want"] = "must"

    @model_validator(mode="after")
    def _check(self) -> "TargetTable":
        forms: list[Form] = [
            ({"hz"}, {"tolerance_percent"}),
            ({"note"}, {"cents", "tolerance_percent"}),
            ({"ratio_to_mode", "ratio"}, {"tolerance_percent"}),
            ({"ratio_to_mode", "cents"}, {"tolerance_percent"}),
            ({"away_from", "at_least_cents"}, set()),
            ({"keep_within_cents"}, set()),
            ({"sustain_s"}, set()),
        ]
        one_form(self, forms, "a target")
        if self.ratio_to_mode == self.mode:
            refuse(f"ratio_to_mode = {self.ratio_to_mode}, which is the target's own mode; give another one")
        return self


class PlanTable(Table):
    """[plan]: what a plan may do."""

    largest_step_mm: Annotated[float, Field(ge=0.2, le=20)] = 1.5
    least_height_mm: Height = 0.0
    brace_least_height_mm: Annotated[dict[Name, Height], Field(max_length=MAX_BRACES)] = Field(default_factory=dict)
    leave_braces: Annotated[list[Name], Field(max_length=MAX_BRACES)] = Field(default_factory=list)
    thin_edge_ring: bool = True
    shortest_cut_mm: Annotated[float, Field(ge=0, le=500)] = 40.0
    steepest_percent: Annotated[float, Field(gt=0, le=100)] = 5.0
    remove_at_most_g: Annotated[float, Field(gt=0, le=1_000_000)] | None = None
    remove_about_g: Annotated[float, Field(gt=0, le=1_000_000)] | None = None
    largest_bridge_turn_deg: Annotated[float, Field(gt=0, le=45)] = 2.0
    largest_stress_share: Annotated[float, Field(gt=0, le=1)] = 0.56
    confidence_percent: Annotated[float, Field(ge=80, le=99.9)] = 95.0
    cut_error_mm: Annotated[float, Field(ge=0.02, le=2)] = 0.2


ISOTROPIC_KEYS = ("E_gpa", "nu", "density_kg_per_m3")
ORTHOTROPIC_KEYS = (
    "E_L_gpa",
    "E_R_gpa",
    "E_T_gpa",
    "G_LR_gpa",
    "G_LT_gpa",
    "G_RT_gpa",
    "nu_LR",
    "nu_LT",
    "nu_RT",
    "density_kg_per_m3",
)


STRENGTH_KEYS = (
    "bending_strength_mpa",
    "compression_strength_mpa",
    "shear_strength_mpa",
    "tension_across_strength_mpa",
)

LOSS_KEYS = ("loss_along", "loss_across", "loss_shear")


class WoodTable(Table):
    """[wood.NAME]: the maker's own, from a board's taps, all constants or some with a base, or an isotropic solid."""

    board: Line | None = None
    based_on: Name | None = None
    E_L_gpa: Modulus | None = None
    E_R_gpa: Modulus | None = None
    E_T_gpa: Modulus | None = None
    G_LR_gpa: Modulus | None = None
    G_LT_gpa: Modulus | None = None
    G_RT_gpa: Modulus | None = None
    nu_LR: Poisson | None = None
    nu_LT: Poisson | None = None
    nu_RT: Poisson | None = None
    E_gpa: Modulus | None = None
    nu: Annotated[float, Field(gt=-1, lt=0.5)] | None = None
    density_kg_per_m3: Density | None = None
    moisture_percent: Moisture | None = None
    bending_strength_mpa: Stress | None = None
    compression_strength_mpa: Stress | None = None
    shear_strength_mpa: Stress | None = None
    tension_across_strength_mpa: Stress | None = None
    loss_along: LossFactor | None = None
    loss_across: LossFactor | None = None
    loss_shear: LossFactor | None = None
    loss: LossFactor | None = None

    @model_validator(mode="after")
    def _check(self) -> "WoodTable":
        given = self.model_fields_set
        if "board" in given:
            beside = (*STRENGTH_KEYS, *LOSS_KEYS)
            mixed = [key for key in type(self).model_fields if key in given - {"board", *beside}]
            if mixed:
                refuse(f"board together with {mixed[0]}; the board file tells all but {', '.join(beside)}")
        elif "based_on" in given:
            mixed = [key for key in ("E_gpa", "nu") if key in given]
            if mixed:
                refuse(f"based_on together with {mixed[0]}; allowed beside it: {', '.join(ORTHOTROPIC_KEYS)}")
        elif given & {"E_gpa", "nu"}:
            one_form(self, [(set(ISOTROPIC_KEYS), set()), (set(ORTHOTROPIC_KEYS), set())], "a material")
            if "moisture_percent" in given:
                refuse("moisture_percent of a material without grain, which takes up no water; leave it out")
            with_grain = [key for key in LOSS_KEYS if key in given]
            if with_grain and "E_gpa" in given:
                refuse(f"{with_grain[0]} of a material without grain; write loss")
        else:
            lacking = [key for key in ORTHOTROPIC_KEYS if key not in given]
            if lacking:
                allowed = "give every constant, based_on = a built-in wood, or board = a board file"
                refuse(f"{', '.join(lacking)} missing; {allowed}")
        if "loss" in given and "E_gpa" not in given:
            refuse(f"loss of a wood, which has one in each direction; allowed: {', '.join(LOSS_KEYS)}")
        return self


class BridgeTable(Table):
    """[bridge]: the driving point."""

    point_mm: Pair


class StringsTable(Table):
    """[strings]: how the strings meet the bridge."""

    saddle_height_mm: Annotated[float, Field(gt=0, le=500)]
    scale_length_mm: Length | None = None
    anchor: Literal["bridge", "tailpiece"] = "bridge"
    break_angle_deg: Annotated[float, Field(ge=0, le=90)] | None = None
    string_angle_deg: Annotated[float, Field(ge=-45, le=45)] | None = None
    spread_mm: Length | None = None
    held: Literal["hinged", "clamped"] | None = None
    frets: Annotated[int, Field(ge=0, le=48)] | None = None

    @model_validator(mode="after")
    def _check(self) -> "StringsTable":
        if self.anchor == "tailpiece" and not self.break_angle_deg:
            refuse('anchor = "tailpiece" needs break_angle_deg > 0, by which the strings press on the saddle')
        return self


class StringTable(Table):
    """[[string]]: by its note and mass, or by its tension; from the bass side to the treble side."""

    note: Line | None = None
    mass_g_per_m: Annotated[float, Field(gt=0, le=10_000)] | None = None
    tension_n: Annotated[float, Field(gt=0, le=100_000)] | None = None
    material: Literal["steel", "nylon"] | None = None
    diameter_mm: Annotated[float, Field(gt=0, le=50)] | None = None
    core_mm: Annotated[float, Field(gt=0, le=50)] | None = None
    bending_stiffness_n_mm2: Annotated[float, Field(gt=0, le=1e9)] | None = None
    loss_factor: Annotated[float, Field(gt=0, le=0.1)] | None = None

    @model_validator(mode="after")
    def _check(self) -> "StringTable":
        if self.material == "nylon" and self.core_mm is not None:
            refuse("core_mm belongs to a wound steel string; nylon takes its stiffness from a table of strings")
        one_form(self, [({"note", "mass_g_per_m"}, set()), ({"tension_n"}, {"note"})], "a string")
        return self


class MeshTable(Table):
    """[mesh]."""

    size_mm: Annotated[float, Field(ge=2, le=20_000)]


class ClimateTable(Table):
    """[climate]: how damp the wood is, by its moisture content or by the air around it."""

    moisture_percent: Moisture | None = None
    humidity_percent: Humidity | None = None
    temperature_c: Celsius = 20.0

    @model_validator(mode="after")
    def _check(self) -> "ClimateTable":
        forms: list[Form] = [
            ({"moisture_percent"}, {"temperature_c"}),
            ({"humidity_percent"}, {"temperature_c"}),
        ]
        one_form(self, forms, "a climate")
        return self


class CaseTable(Table):
    """The whole file."""

    name: Line | None = None
    note: Text = ""
    outline: OutlineTable
    hole: Annotated[list[HoleTable], Field(max_length=MAX_HOLES)] = Field(default_factory=list)
    top: TopTable
    thickness: Annotated[list[ThicknessTable], Field(max_length=MAX_REGIONS)] = Field(default_factory=list)
    brace: Annotated[list[BraceTable], Field(max_length=MAX_BRACES)] = Field(default_factory=list)
    patch: Annotated[list[PatchTable], Field(max_length=MAX_PATCHES)] = Field(default_factory=list)
    mass: Annotated[list[MassTable], Field(max_length=MAX_MASSES)] = Field(default_factory=list)
    joint: Annotated[list[JointTable], Field(max_length=MAX_BRACES)] = Field(default_factory=list)
    edge: EdgeTable = EdgeTable()
    target: Annotated[list[TargetTable], Field(max_length=200)] = Field(default_factory=list)
    plan: PlanTable = PlanTable()
    wood: Annotated[dict[Name, WoodTable], Field(max_length=100)] = Field(default_factory=dict)
    bridge: BridgeTable | None = None
    strings: StringsTable | None = None
    string: Annotated[list[StringTable], Field(max_length=MAX_STRINGS)] = Field(default_factory=list)
    mesh: MeshTable | None = None
    climate: ClimateTable | None = None
    sides: SidesTable | None = None
    back: BackTable | None = None
    back_brace: Annotated[list[BraceTable], Field(max_length=MAX_BRACES)] = Field(default_factory=list)
    back_patch: Annotated[list[PatchTable], Field(max_length=MAX_PATCHES)] = Field(default_factory=list)
    back_joint: Annotated[list[JointTable], Field(max_length=MAX_BRACES)] = Field(default_factory=list)
    lining: Annotated[list[LiningTable], Field(max_length=2)] = Field(default_factory=list)
    block: Annotated[list[BlockTable], Field(max_length=2)] = Field(default_factory=list)
    finish: Annotated[list[FinishTable], Field(max_length=3)] = Field(default_factory=list)
    box: BoxTable | None = None
    closed: ClosedTable | None = None
    build: BuildTable | None = None


TABLES: dict[str, type[Table]] = {
    "": CaseTable,
    "outline": OutlineTable,
    "hole": HoleTable,
    "top": TopTable,
    "thickness": ThicknessTable,
    "brace": BraceTable,
    "patch": PatchTable,
    "mass": MassTable,
    "joint": JointTable,
    "edge": EdgeTable,
    "target": TargetTable,
    "plan": PlanTable,
    "wood": WoodTable,
    "bridge": BridgeTable,
    "strings": StringsTable,
    "string": StringTable,
    "mesh": MeshTable,
    "climate": ClimateTable,
    "sides": SidesTable,
    "back": BackTable,
    "back.outline": OutlineTable,
    "back_brace": BraceTable,
    "back_patch": PatchTable,
    "back_joint": JointTable,
    "lining": LiningTable,
    "block": BlockTable,
    "finish": FinishTable,
    "box": BoxTable,
    "closed": ClosedTable,
    "build": BuildTable,
}
"""Model of each table by its name in the file; "" is the file itself."""
