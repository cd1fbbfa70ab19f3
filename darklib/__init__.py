"""darklib: a library manager for astronomical calibration frames."""

__version__ = "0.1.0"
