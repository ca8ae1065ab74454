"""Boards and photos drawn by formula, so that the truth behind every picture is known."""
