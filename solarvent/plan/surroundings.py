"""What a plan says of the light around it: how a broken sky is read, and what stands in the way of the sun."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from solarvent.plan.fields import Length, Record, Share

#: Share of the light that passes through it, and through a tree without its leaves (common practice, no source).
_PASSES = {"tree": 0.2, "wall": 0.0, "ridge": 0.0}
_BARE = 0.6
#: Global light in a gap (bright clouds around it) and in the shadow of a cloud, as shares of that under a clear sky,
#: for a plan that names one of the two. From the hours of broken cloud in one-minute data of Payerne, June 2016
#: (Baseline Surface Radiation Network): 1.09 to 1.13 where more than half of the beam is there, 0.42 to 0.53 in the
#: rest. [-]
SUNLIT_LEVEL, SHADOW_LEVEL = 1.10, 0.45

Azimuth = Annotated[float, Field(ge=-360, le=360)]


class Sky(Record):
    """How the light of a broken sky is read: as measured, or as two levels, in the gaps and in the shadows."""

    full_cover: Literal["thin", "ordinary", "dark"] = Field("ordinary", description="the cloud of an overcast sky")
    sunlit_level: Annotated[float, Field(ge=0.9, le=1.3)] | None = Field(
        None,
        description="light in the gaps, as a share of that under a clear sky; left out: as measured, or 1.10 beside one"
        " of the next two",
    )
    shadow_level: Annotated[float, Field(ge=0, le=0.85)] | None = Field(
        None,
        description="light in the shadows, as a share of that under a clear sky; left out: as measured, or 0.45 beside"
        " sunlit_level",
    )
    sunlit_share: Annotated[float, Field(gt=0, lt=1)] | None = Field(
        None,
        description="share of the time in sunlight under the sky that airflow is asked for, in place of shadow_level",
    )

    @model_validator(mode="after")
    def _is_one_reading(self) -> Sky:
        if self.shadow_level is not None and self.sunlit_share is not None:
            write = "give sunlit_share or shadow_level: the other follows from the mean light"
            raise PydanticCustomError("sky", "the broken sky is given twice", {"write": write})
        return self

    @property
    def as_measured(self) -> bool:
        """The plan gives no levels of its own."""
        return self.sunlit_level is None and self.shadow_level is None

    @property
    def levels(self) -> tuple[float, float]:
        """Light in the gaps and in the shadows, where such a sky is read in two states. [-]"""
        gap = SUNLIT_LEVEL if self.sunlit_level is None else self.sunlit_level
        return gap, SHADOW_LEVEL if self.shadow_level is None else self.shadow_level


class Obstacle(Record):
    """A tree, a wall of a house or a ridge that stands between the panels and the sky."""

    kind: Literal["tree", "wall", "ridge"]
    azimuth: Azimuth = Field(description="direction of its middle, seen from the panels; degrees from north")
    distance: Length = Field(description="from the panels to its middle, on the level")
    height: Length = Field(description="of its top above the panels")
    width: Length | None = Field(None, description="left out: without end, for a ridge the length of the house")
    passes: Share | None = Field(
        None, description="share of light through it; left out: 0.2 for a tree in leaf, else 0"
    )
    bare_passes: Share | None = Field(None, description="the same for a tree without leaves; left out: 0.6")
    leaf_months: list[Annotated[int, Field(ge=1, le=12)]] | None = Field(
        None, description="months in leaf; left out: April to October, south of the equator October to April"
    )

    @model_validator(mode="after")
    def _only_trees_have_leaves(self) -> Obstacle:
        if self.kind != "tree" and (self.bare_passes is not None or self.leaf_months is not None):
            write = 'leave bare_passes and leaf_months out, or write kind = "tree"'
            raise PydanticCustomError("obstacle", f"a {self.kind} has no leaves", {"write": write})
        return self

    def passes_by_month(self, north: bool) -> list[float]:
        """Share of the light that passes through it, January first."""
        full = _PASSES[self.kind] if self.passes is None else self.passes
        if self.kind != "tree":
            return [full] * 12
        bare = _BARE if self.bare_passes is None else self.bare_passes
        usual = [4, 5, 6, 7, 8, 9, 10] if north else [10, 11, 12, 1, 2, 3, 4]
        leaves = usual if self.leaf_months is None else self.leaf_months
        return [full if month in leaves else bare for month in range(1, 13)]
