"""Pure physics: spheres, gaps, lamps, instruments, surface form. Imports nothing else of fringe."""
