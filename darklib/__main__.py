"""The door `python -m darklib`."""

from darklib.cli.main import run

if __name__ == "__main__":
    run()
