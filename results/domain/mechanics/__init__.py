"""What a strengthened member will carry, how it will fail, and what cycling does to it.

Plain Python in N, mm, MPa and N·mm; tension is positive; depths are measured from the top face;
P is always the total load of the actuator. Predictions are for planning tests, never for the
design of works.
"""
