"""Parts put together by a grammar, so that no family of shapes repeats. May not: know a scene, a camera or a label."""
