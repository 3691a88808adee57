"""Tables and keys of the closed box in top.toml, with the range of every number.

Depends on fem/closed_target, fem/part_schema, fem/toml_table.
"""

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from bracedtop.fem.closed_target import ClosedNote
from bracedtop.fem.part_schema import (
    MAX_POINTS,
    Celsius,
    Frequency,
    Height,
    LossFactor,
    Modulus,
    OutlineTable,
    Pair,
    Thickness,
    TopTable,
)
from bracedtop.fem.toml_table import Form, Line, Name, Table, one_form, refuse

DEEPEST_MM = 2_000.0
"""Largest depth of a box; chosen: that of a double bass is a tenth of it."""

KERF_KEYS = ("kerf_every_mm", "kerf_width_mm", "kerf_depth_mm")


class SidesTable(Table):
    """[sides]: the ribs."""

    wood: Name
    thickness_mm: Thickness
    depth_mm: Annotated[list[Pair], Field(min_length=1, max_length=MAX_POINTS)]

    @model_validator(mode="after")
    def _check(self) -> "SidesTable":
        for row, (_, depth) in enumerate(self.depth_mm, start=1):
            if not 0 < depth <= DEEPEST_MM:
                refuse(f"depth_mm row {row} number 2 = {depth:g}; must be > 0 and <= {DEEPEST_MM:g}")
        places = [x for x, _ in self.depth_mm]
        for row, (before, x) in enumerate(pairwise(places), start=2):
            if x <= before:
                refuse(f"depth_mm row {row} number 1 = {x:g}; must be > {before:g}, that of the row before")
        return self


class BackTable(TopTable):
    """[back]: the plate, with the keys of [top]."""

    outline: OutlineTable | None = None


class LiningTable(Table):
    """[[lining]]: the strip between a face and the sides."""

    face: Literal["top", "back"]
    wood: Name
    width_mm: Thickness
    height_mm: Thickness
    kerf_every_mm: Thickness | None = None
    kerf_width_mm: Thickness | None = None
    kerf_depth_mm: Thickness | None = None
    face_rests_on: Literal["lining and sides", "lining"] = "lining and sides"

    @model_validator(mode="after")
    def _check(self) -> "LiningTable":
        lacking = [key for key in KERF_KEYS if getattr(self, key) is None]
        if 0 < len(lacking) < len(KERF_KEYS):
            refuse(f"missing {', '.join(lacking)}; saw cuts take {' + '.join(KERF_KEYS)}, a solid strip none of them")
        every, width, depth = self.kerf_every_mm, self.kerf_width_mm, self.kerf_depth_mm
        if every is not None and width is not None and width >= every:
            refuse(f"kerf_width_mm = {width:g}; must be < {every:g}, the distance of the saw cuts")
        if depth is not None and depth > self.width_mm:
            refuse(f"kerf_depth_mm = {depth:g}; must be <= {self.width_mm:g}, the width of the lining")
        return self


class BlockTable(Table):
    """[[block]]: neck block or tail block."""

    end: Literal["neck", "tail"]
    wood: Name
    length_mm: Thickness
    width_mm: Thickness


class FinishTable(Table):
    """[[finish]]: a film on the outside."""

    face: Literal["top", "back", "sides"]
    mass_g_per_m2: Annotated[float, Field(gt=0, le=10_000)]
    film_mm: Annotated[float, Field(gt=0, le=10)] | None = None
    modulus_gpa: Modulus | None = None
    loss: LossFactor | None = None

    @model_validator(mode="after")
    def _check(self) -> "FinishTable":
        film = {"film_mm", "modulus_gpa", "loss"}
        forms: list[Form] = [({"mass_g_per_m2"}, set()), ({"mass_g_per_m2", *film}, set())]
        one_form(self, forms, "a finish")
        return self


class BoxTable(Table):
    """[box]: what is left to say."""

    rim: Literal["held", "free"] = "free"
    neck_mass_g: Annotated[float, Field(ge=0, le=1_000_000)] = 0.0
    ring_width_mm: Annotated[Height, Field(gt=0)] = 25.0
    temperature_c: Celsius | None = None


class ClosedTable(Table):
    """[closed]: where the top's and the air's notes of the closed box should be, and what thinning its ring may do."""

    relation: Literal["fourth", "fifth", "minor sixth", "sixth", "minor seventh", "seventh", "octave"] | None = None
    semitones: Annotated[float, Field(gt=0, le=48)] | None = None
    between: Annotated[list[ClosedNote], Field(min_length=2, max_length=2)] | None = None
    of: ClosedNote | None = None
    hz: Frequency | None = None
    note: Line | None = None
    cents: Annotated[float, Field(ge=-1200, le=1200)] = 0.0
    tolerance_cents: Annotated[float, Field(ge=1, le=100)] = 10.0
    least_ring_mm: Thickness | None = None
    largest_pass_mm: Annotated[float, Field(ge=0.01, le=2)] = 0.1
    cut_error_mm: Annotated[float, Field(ge=0.002, le=0.5)] = 0.02

    @model_validator(mode="after")
    def _check(self) -> "ClosedTable":
        limits = {"least_ring_mm", "largest_pass_mm", "cut_error_mm"}
        forms: list[Form] = [
            ({"relation"}, {"between", "tolerance_cents", *limits}),
            ({"semitones"}, {"between", "tolerance_cents", *limits}),
            ({"of", "hz"}, {"tolerance_cents", *limits}),
            ({"of", "note"}, {"cents", "tolerance_cents", *limits}),
        ]
        if self.model_fields_set - limits:
            one_form(self, forms, "a wish for the closed box")
        if self.between is not None and self.between[0] == self.between[1]:
            refuse(f'between names "{self.between[0]}" twice; an interval lies between two notes')
        return self
