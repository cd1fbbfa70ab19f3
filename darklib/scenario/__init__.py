"""The invented scenario: cameras, telescopes and nights simulated from their physics, for the demo and the tests.

Nothing here reads or writes a file: frames are returned as bytes, and everything random follows from a seed.
"""
