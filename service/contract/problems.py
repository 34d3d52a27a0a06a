"""What each kind of problem means for whoever meets it."""

# By the kinds of kernel/errors.py, in the order of their status.
MEANINGS = {
    "unreadable": "The body is no JSON, or a parameter is none that this address takes or is not in its form.",
    "no_key": "No API key came along, or one that is unknown, mistyped, revoked or run out.",
    "scope_missing": "The key is good, but was not given what this call needs; the office makes keys.",
    "not_found": "Nothing in this business's book has that address; what another business holds reads the same.",
    "method_not_allowed": "The address exists, but takes other methods; Allow names them.",
    "not_acceptable": "It is to be had in other formats than the one that was asked for.",
    "conflict": "The request is sound, but what is stored forbids it, such as testing an endpoint that is paused.",
    "cursor_gone": "The database was restored or moved since this cursor was given; start again without it.",
    "stale": "It was amended since it was read; read it again and send the new ETag.",
    "too_large": "The body is larger than is taken at once; send it in parts.",
    "unsupported_media_type": "Content-Type names something else than this address takes.",
    "invalid": "The body can be read but is wrong; `errors` lists every fault with a pointer to its place.",
    "precondition_required": "It exists already; to amend it, send the ETag that was read in If-Match.",
    "internal": "A fault of ours; nothing was stored, and the same may be sent again.",
    "unavailable": "It is starting or its database is away; try again in a moment.",
}
