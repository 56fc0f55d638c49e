"""How many seals to keep, when to order, what to renew and when."""
