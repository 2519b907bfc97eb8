"""From bursting disc logs to lives, early failures, intervals and spares."""
