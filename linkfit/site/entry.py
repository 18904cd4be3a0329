"""What all tables of the site file have in common, and the numbers that carry no unit."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Flow = Literal["out", "in", "both"]
Count = Annotated[int, Field(ge=1, le=10**9)]
Share = Annotated[float, Field(ge=0, le=1)]
Rarity = Annotated[float, Field(ge=0, le=1e9)]
Quality = Annotated[int, Field(ge=1, le=100)]
Edge = Annotated[int, Field(ge=16, le=100_000)]
Format = Literal["jpeg", "webp"]
Priority = Literal["normal", "low"]


class Entry(BaseModel):
    """One table: frozen, numbers taken as they are, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
