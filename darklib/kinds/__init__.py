"""What a frame is: from its header, from words in its path, from its pixels and exposure; and how sure that is."""
