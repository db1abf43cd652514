"""Readers of ride files: FIT, TCX, GPX and CSV in, one :class:`fieldaero.rides.ride.Ride` out."""

from __future__ import annotations

from fieldaero.rides.csv_out import write_csv
from fieldaero.rides.read import read_ride, read_ride_bytes

__all__ = ["read_ride", "read_ride_bytes", "write_csv"]
