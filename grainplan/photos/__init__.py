"""Photos of a board side become a square-on, evenly lit picture that knows its millimetres."""
