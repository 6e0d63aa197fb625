"""The mathematics of the chronograph bench: pure, of numbers only. What follows from them is the velocity service's rule."""
