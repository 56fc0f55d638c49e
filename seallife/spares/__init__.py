"""How many spares, what to renew in the outage, whether to renew by age."""
