"""How good the measuring is: bias, repeatability and reproducibility of readings, agreement of judged checks."""
