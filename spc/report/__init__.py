"""What a manager signs and an auditor reads: the review of a period and the evidence behind it, as HTML and PDF.

The pages are made of the results that the screens show, and of the same figures: `svg.py` draws a plotly figure as
plain SVG, without a browser.
"""
