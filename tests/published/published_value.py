"""A number from outside, with where it comes from and how it came here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pytest


@dataclass(frozen=True, kw_only=True)
class PublishedValue:
    """One value of an outside source; exactly one of the two tolerances is set.

    provenance: "read" in the source, "read in ..." a second party that quotes it,
    "computed with <library version>", or "from memory".
    """

    value: float
    source: str
    locator: str
    provenance: str
    inputs: dict[str, float] = field(default_factory=dict)
    relative: float | None = None
    absolute: float | None = None

    def __post_init__(self) -> None:
        if not (self.source and self.locator and self.provenance):
            raise ValueError("a published value needs source, locator and provenance")
        if (self.relative is None) == (self.absolute is None):
            raise ValueError("give one tolerance, relative or absolute")

    def check(self, found: float) -> None:
        """Fail unless the found value agrees within the tolerance."""
        allowed = self.absolute if self.absolute is not None else abs(self.value) * (self.relative or 0.0)
        found = float(np.asarray(found))
        assert abs(found - self.value) <= allowed, (
            f"{found:.9g} differs from {self.value:.9g} by {found - self.value:.3g}, allowed {allowed:.3g}: "
            f"{self.source}, {self.locator} ({self.provenance})"
        )


def each(values: Sequence[PublishedValue]) -> pytest.MarkDecorator:
    """Parametrise a test over published values, named by locator and inputs."""
    ids = [" ".join([v.locator, *(f"{key}={x:g}" for key, x in v.inputs.items())]) for v in values]
    return pytest.mark.parametrize("published", values, ids=ids)
