"""The library folder: every byte that is written passes through here, by way of `seam`."""
