"""Maps: many cases of one scenario, by a fast model that circuit runs calibrate and verify."""
