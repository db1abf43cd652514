"""Invented courses: where the road runs, and how high it is.

A course is a table along its length in steps of about a metre.  Heights are a
random sum of a few harmonics, so that no estimator finds its own building blocks in them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fieldaero.basics.quantities import Floats

__all__ = ["RUN_OUT_M", "CourseShape", "CourseTable", "course_table"]


Shape = Literal["loop", "out_and_back", "one_way"]
HARMONICS = 6
RUN_OUT_M = 60.0  # ridden past the last finish line
LAST_STEP_M = 20.0  # and room for the step that leads there


@dataclass(frozen=True, kw_only=True)
class CourseShape:
    """What a course looks like.

    Attributes
    ----------
    shape
        "loop" is an oval, "out_and_back" one road ridden there and back with a turn at either
        end, "one_way" a road whose finish is not its start; it runs on beyond both.
    length_m
        Of one lap.
    height_m
        Between the lowest and the highest point; nearly so for "one_way".
    rise_m
        Of the finish above the start, for "one_way" alone.
    aspect
        Length over width of the oval.
    sheltered
        Share of the wind that is missing at the most sheltered place; it stays in place.
    latitude_deg, longitude_deg
        The middle of the oval, or the start of the road.
    """

    shape: Shape = "loop"
    length_m: float = 2400.0
    height_m: float = 8.0
    rise_m: float = 0.0
    aspect: float = 2.0
    sheltered: float = 0.0
    latitude_deg: float = 12.0
    longitude_deg: float = -38.0


@dataclass(frozen=True, kw_only=True)
class CourseTable:
    """A course by distance, arrays over ``distance_m`` of shape (n,).

    Distance counts from the start line; a road ridden one way reaches beyond both lines.
    ``heading_east``, ``heading_north`` are the unit vector of travel, ``shelter`` what
    is left of the wind, ``grade`` the rise per metre of road.
    """

    shape: CourseShape
    distance_m: Floats
    east_m: Floats
    north_m: Floats
    heading_east: Floats
    heading_north: Floats
    height_m: Floats
    grade: Floats
    shelter: Floats


def course_table(shape: CourseShape, rng: np.random.Generator, *, lead_in_m: float = 0.0) -> CourseTable:
    """Lay out a course; heights and shelter are drawn from ``rng``.

    A road ridden one way begins ``lead_in_m`` before its start line.
    """
    low, high = 0.0, shape.length_m
    if shape.shape == "one_way":
        low, high = -lead_in_m, shape.length_m + RUN_OUT_M + LAST_STEP_M
    n = max(50, round(high - low))
    s = np.linspace(low, high, n + 1)
    if shape.shape == "loop":
        east, north = _oval(shape, s)
        along = 2.0 * np.pi * s / shape.length_m
        heading = np.unwrap(np.arctan2(np.gradient(east, s), np.gradient(north, s)))
        middle = np.arctan2(east[1] - east[-2], north[1] - north[-2])
        heading[0], heading[-1] = middle, middle + np.round((heading[-2] - middle) / (2 * np.pi)) * 2 * np.pi
    else:
        half = shape.length_m / 2.0
        back = (s > half) & (shape.shape == "out_and_back")
        road = np.where(back, shape.length_m - s, s)
        reach = half if shape.shape == "out_and_back" else shape.length_m
        bend = 0.3 * np.sin(2.0 * np.pi * road / reach)
        fine = np.linspace(low, high if shape.shape == "one_way" else reach, n + 1)
        angle = 0.9 + 0.3 * np.sin(2.0 * np.pi * fine / reach)
        step = fine[1] - fine[0]
        x = np.concatenate([[0.0], np.cumsum(np.sin((angle[1:] + angle[:-1]) / 2.0) * step)])
        y = np.concatenate([[0.0], np.cumsum(np.cos((angle[1:] + angle[:-1]) / 2.0) * step)])
        east, north = (np.interp(road, fine, a) - np.interp(0.0, fine, a) for a in (x, y))
        heading = 0.9 + bend + np.where(back, np.pi, 0.0)
        along = np.pi * road / reach
    height, grade = _height(shape, along, s, rng)
    return CourseTable(
        shape=shape,
        distance_m=s,
        east_m=east,
        north_m=north,
        heading_east=np.sin(heading),
        heading_north=np.cos(heading),
        height_m=height,
        grade=grade,
        shelter=_shelter(shape, along, rng),
    )


def _oval(shape: CourseShape, s: Floats) -> tuple[Floats, Floats]:
    turn = np.linspace(0.0, 2.0 * np.pi, 40001)
    x, y = shape.aspect * np.cos(turn), np.sin(turn)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    scale = shape.length_m / way[-1]
    return scale * np.interp(s, way * scale, x), scale * np.interp(s, way * scale, y)


def _height(shape: CourseShape, along: Floats, s: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Height and its derivative by distance: harmonics of the lap, or of the road between its ends."""
    k = np.arange(1, HARMONICS + 1)[:, None]
    size = rng.normal(size=(HARMONICS, 1)) / k**1.3
    # Harmonics without a phase are level at both ends, so that there and back join smoothly.
    phase = rng.uniform(0.0, 2.0 * np.pi, size=(HARMONICS, 1)) if shape.shape == "loop" else np.zeros((HARMONICS, 1))
    height = np.sum(size * np.cos(k * along + phase), axis=0)
    per_along = np.gradient(along, s)
    if shape.shape == "out_and_back":
        per_along = np.sign(per_along) * np.max(np.abs(per_along))
    grade = -np.sum(size * k * np.sin(k * along + phase), axis=0) * per_along
    scale = shape.height_m / float(np.ptp(height)) if shape.height_m > 0.0 else 0.0
    height, grade = (height - np.interp(0.0, s, height)) * scale, grade * scale
    if shape.shape != "one_way":
        return height, grade
    # The harmonics leave the finish at any height: a steady slope brings it to where it is wanted.
    slope = (shape.rise_m - float(np.interp(shape.length_m, s, height))) / shape.length_m
    return height + slope * s, grade + slope


def _shelter(shape: CourseShape, along: Floats, rng: np.random.Generator) -> Floats:
    k = np.arange(1, 5)[:, None]
    size, phase = rng.normal(size=(4, 1)), rng.uniform(0.0, 2.0 * np.pi, size=(4, 1))
    hedge = np.sum(size * np.cos(k * along + phase), axis=0)
    return np.asarray(1.0 - shape.sheltered * (hedge - hedge.min()) / np.ptp(hedge))
