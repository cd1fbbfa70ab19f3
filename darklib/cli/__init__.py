"""The command line: a table of commands, one module each, loaded only when its command runs."""
