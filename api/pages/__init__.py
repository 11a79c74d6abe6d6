"""Pages, their languages and drawings. May not: hold a word that is not translated, or fetch from elsewhere."""
