"""What to change: settings, each tried by forecasting again."""
