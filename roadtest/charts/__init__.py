"""What is drawn, as plain data, and its drawer for paper."""

from roadtest.charts.all_charts import all_charts, chart_for, charts_of

__all__ = ["all_charts", "chart_for", "charts_of"]
