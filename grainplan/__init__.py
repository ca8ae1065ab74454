"""Plan resawn, grain-matched panels from photos of the rough boards."""
