"""A caregiver's pages: plain forms, one question at a time. May not: need a script, or a word of the trade."""
