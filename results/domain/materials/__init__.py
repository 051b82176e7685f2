"""From tests of lots to the material values that a member is predicted with. Plain Python."""
