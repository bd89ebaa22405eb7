"""What the fleet taught about itself: the numbers every forecast starts from, one row for each time it was asked."""

from django.db import models


class FleetNumbers(models.Model):
    """Riding rates of the fleet as they were learned once (services/fleet_rates.py); a trike keeps those it was reckoned with.

    A forecast can be reckoned again from the record and the row its trike points to, and comes out the same.
    """

    learned_at = models.DateTimeField()
    machines = models.PositiveIntegerField()
    stretches = models.PositiveIntegerField()
    numbers = models.JSONField()  # meter (km, hours, cycles) -> FleetRates.as_dict()
    backtest = models.JSONField(default=dict)  # services/backtest.py: of the dates named, how many came inside

    class Meta:
        ordering = ["-learned_at", "-pk"]
        verbose_name_plural = "fleet numbers"

    def __str__(self) -> str:
        return f"fleet numbers of {self.learned_at:%Y-%m-%d}"
