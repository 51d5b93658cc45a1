package main

// runSurfaces are the kinds of surface that `run` can serve.
func runSurfaces() []runSurface { return nil }
