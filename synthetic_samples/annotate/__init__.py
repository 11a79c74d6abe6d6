"""Labels measured on what was rendered. May not: believe a scene's intent where the picture does not show it."""
