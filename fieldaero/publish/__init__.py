"""Figures, report, data pack and result files."""
