"""A member and its test put together: what it will carry, each step of the way, and its spread.

Plain Python. JSON comes in with the unit in each name, mechanics works in N, mm and MPa, and what
goes out is {value, unit} in kN, mm, MPa and kN·m. For planning tests, never for the design of
works.
"""
