"""The joint fit: one linear-Gaussian model of the whole session, and the drag area of every lap from it."""

from fieldaero.estimate.joint_fit.fit import FitSettings, JointFit, joint_fit
from fieldaero.estimate.joint_fit.segments import RoadCells, Segments, road_cells
from fieldaero.estimate.joint_fit.stray_cells import stray_cells

__all__ = ["FitSettings", "JointFit", "RoadCells", "Segments", "joint_fit", "road_cells", "stray_cells"]
