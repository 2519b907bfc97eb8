"""Figure builders: result in, plotly figure out."""
