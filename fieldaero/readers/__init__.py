"""Readers of ride files: FIT, TCX, GPX and CSV in, one :class:`fieldaero.ride.Ride` out."""

from __future__ import annotations

from fieldaero.readers.csv_out import write_csv
from fieldaero.readers.read import read_ride, read_ride_bytes

__all__ = ["read_ride", "read_ride_bytes", "write_csv"]
