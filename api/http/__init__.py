"""Routes for programs: limits, sessions, errors as RFC 9457. May not: draw a page."""
