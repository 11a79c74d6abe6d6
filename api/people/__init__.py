"""Named people of the staff: their roles, passwords and ways in. May not: know a case, draw a page."""
