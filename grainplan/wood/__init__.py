"""What the wood shows and what it hides: grain, figure, flaws, the board as a solid."""
