"""Material tests reduced to the numbers that mechanics asks for. Stresses in MPa, loads in N."""
