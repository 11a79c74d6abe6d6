"""How right answers were in closed cases, and what is held back because of it. May not: know HTTP, or draw a page."""
