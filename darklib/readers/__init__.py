"""A file to what it says of itself, and its sensor array on demand. Nothing here writes anything."""
