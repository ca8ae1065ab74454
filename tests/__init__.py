"""The tests of grainplan, and the drawn boards that they stand on."""
