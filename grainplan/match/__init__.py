"""Which leaves go where: how well edges meet, where a bay could come from, the best set of all."""
