"""What keeping safe found, as JSON values: may a card be erased, what differs, is there a second copy."""

from darklib.jobs.safety_results import CheckResult, Finding, SecondCopy, VerifyResult
from darklib.show import objects
from darklib.show.objects import Json


def second_copy(known: SecondCopy) -> Json:
    """What is known of a second copy of the library."""
    return {
        "path": known.path,
        "checked_at": None if known.checked_at is None else objects.moment(known.checked_at),
        "not_covered": known.not_covered,
        "in_place": known.in_place,
    }


def checked(result: CheckResult) -> Json:
    """Whether a card may be erased."""
    return {
        "checked": result.checked,
        "stored": result.stored,
        "set_aside": [objects.set_aside_file(item) for item in result.set_aside],
        "not_stored": [{"path": item.path, "code": item.code, "text": item.text} for item in result.not_stored],
        "passed_over": [objects.passed_over(item) for item in result.passed_over],
        "may_erase": result.may_erase,
        "remarks": list(result.remarks),
    }


def verified(result: VerifyResult) -> Json:
    """What differs from what was recorded."""
    return {
        "checked": result.checked,
        "intact": result.intact,
        "differing": [finding(item) for item in result.differing],
        "missing": [finding(item) for item in result.missing],
        "unknown_files": list(result.unknown_files),
        "catalogue": result.catalogue,
        "against": result.against,
        "remarks": list(result.remarks),
        "in_place": list(result.in_place),
        "noted": result.noted,
        "dry_run": result.dry_run,
    }


def finding(item: Finding) -> Json:
    """Something that verify found."""
    return {"path": item.path, "id": item.id, "code": item.code, "text": item.text}
