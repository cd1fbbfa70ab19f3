"""Frames' figures -> what the camera is: gain, noise, dark current, troubles, hot pixels."""
