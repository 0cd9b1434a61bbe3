"""Bad input, made by the million: every reader and every surface of the dashboard, what each must hold, and the seeds.

`make fuzz` runs the targets guided by coverage; `test_seeds.py` runs every input that ever broke one.
"""
