"""What a stable process does, held against its specification limits: indices, shares outside, tolerance intervals.

The shapes that readings have beside the normal one (`distributions`), how well one fits, and its probability plot are
here too: an index is only as good as the shape it rests on.
"""
