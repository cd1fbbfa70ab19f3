"""Results as they are seen: JSON documents for programs; tables, sentences and progress for people."""
