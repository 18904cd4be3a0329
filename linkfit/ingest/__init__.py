"""Measurements in: every supported file becomes one Trace."""
