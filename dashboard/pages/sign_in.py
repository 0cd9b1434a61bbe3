"""The page to sign in on: what anyone gets who is not signed in. It asks nothing of the board but its look."""

from html import escape

PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>Sign in \N{MIDDLE DOT} {title}</title>
<link rel="stylesheet" href="/assets/dashboard.css">
<link rel="stylesheet" href="/assets/session.css">
</head>
<body class="sign-in-page">
<main>
<p class="site">{title}</p>
<div id="sign-in"></div>
<noscript>Signing in needs JavaScript, all of it from this server alone.</noscript>
</main>
<script src="/assets/session.js"></script>
</body>
</html>
"""


def sign_in_page(title: str) -> str:
    """Return the page; the form is made by assets/session.js, as on every page whose session ended."""
    return PAGE.replace("{title}", escape(title))
