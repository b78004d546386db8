"""Progress types of RFC 8572, section 7.3 (module ietf-sztp-bootstrap-server@2019-04-30)."""

COMPLETE = "bootstrap-complete"
#: A new boot image is needed, or is in and the unit restarts: it takes longer, and is no fault.
IMAGE = frozenset({"boot-image-mismatch", "boot-image-installed-rebooting"})
_STEPS = ("parsing", "boot-image", "pre-script", "config", "post-script")
MOVES = frozenset(
    {"bootstrap-initiated", *(f"{s}-{end}" for s in _STEPS for end in ("initiated", "complete"))}
)
WARNINGS = frozenset(f"{step}-warning" for step in (*_STEPS, "bootstrap"))
ERRORS = frozenset(f"{step}-error" for step in (*_STEPS, "bootstrap"))
TYPES = MOVES | WARNINGS | ERRORS | IMAGE | {COMPLETE, "informational"}
