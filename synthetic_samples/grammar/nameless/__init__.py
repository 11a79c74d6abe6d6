"""Things without a name: a build with anything on it. May not: hold all that makes a lift part, or know a label."""
