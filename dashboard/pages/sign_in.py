"""Pages without the board's frame: to sign in on, and for what cannot be handed out. They ask for its look alone."""

from html import escape

FRAME = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{name} \N{MIDDLE DOT} {title}</title>
<link rel="stylesheet" href="/assets/dashboard.css">
<link rel="stylesheet" href="/assets/session.css">
</head>
<body class="sign-in-page">
<main>
<p class="site">{title}</p>
{within}
</main>
{script}</body>
</html>
"""

FORM = """<div id="sign-in"></div>
<noscript>Signing in needs JavaScript, all of it from this server alone.</noscript>"""

SCRIPT = """<script src="/assets/session.js"></script>
"""

PROBLEM = """<h1>This is not to be had</h1>
<p>{words}</p>
<p><a class="button" href="/">To the board</a></p>"""


def problem_page(title: str, words: str) -> str:
    """Return the page for a file that cannot be handed out, or an answer that could not be made."""
    within = PROBLEM.format(words=escape(words))
    return FRAME.format(name="Not to be had", title=escape(title), within=within, script="")


def sign_in_page(title: str) -> str:
    """Return the page; the form is made by assets/session.js, as on every page whose session ended."""
    return FRAME.format(name="Sign in", title=escape(title), within=FORM, script=SCRIPT)
