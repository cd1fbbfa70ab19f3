"""An array of sensor values -> figures (`PixelFacts`). numpy, no files."""
