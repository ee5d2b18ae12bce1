"""Live panels: state, solve, draw. Controls only, no formula."""
