"""The table of commands: name, what it does in a line, and its module. The help is made from it without loading any."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Entry:
    """One command. module: below darklib.cli."""

    name: str
    does: str
    module: str


SECTIONS: tuple[tuple[str, tuple[Entry, ...]], ...] = (
    (
        "From a card to the stack",
        (
            Entry("init", "make a library", "init"),
            Entry("ingest", "take in files and folders, or what lies in the inbox", "ingest"),
            Entry(
                "match",
                "the best calibration sets for the lights, and how well they fit",
                "match",
            ),
            Entry("gaps", "what lights lack, and a plan for shooting it", "gaps"),
            Entry("export", "hand over the matched files for stacking", "export"),
        ),
    ),
    (
        "What there is",
        (
            Entry("status", "the library at a glance", "status"),
            Entry("frames", "list frames", "frames"),
            Entry("batches", "the batches of lights", "batches"),
            Entry("sets", "the sets of darks, biases and flats", "sets"),
            Entry("bodies", "the cameras; name, join or mark one as changed", "bodies"),
            Entry("exposure", "how well lights were exposed, and how long to expose", "exposure"),
            Entry("sensor", "gain, noise, dark current and hot pixels of the cameras, measured", "sensor"),
            Entry("trains", "the optical trains; mark one as changed", "trains"),
            Entry("explain", "every fact of one frame and where it came from", "explain"),
        ),
    ),
    (
        "Putting right",
        (
            Entry("amend", "correct what was recorded of frames", "amend"),
            Entry("retire", "take frames out of matching; nothing is deleted", "retire"),
            Entry("restore", "let retired frames be matched again", "restore"),
            Entry("set-aside", "what could not be taken in and why", "set_aside"),
        ),
    ),
    (
        "Keeping safe",
        (
            Entry("check", "may this card be erased?", "check"),
            Entry("verify", "re-read everything and name what differs", "verify"),
            Entry("rebuild", "make the catalogue anew from files and journal", "rebuild"),
        ),
    ),
    ("Trying out", (Entry("demo", "walk the main job on an invented library", "demo"),)),
)

COMMANDS: dict[str, Entry] = {entry.name: entry for _, entries in SECTIONS for entry in entries}
