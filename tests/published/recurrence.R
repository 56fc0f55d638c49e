# Mean cumulative number and its robust standard error with late entry and a gap.
# R survival: survfit with id gives the cumulative hazard of recurrent events as cumhaz and its
# infinitesimal-jackknife standard error as std.chaz.
library(survival)
cat(R.version.string, as.character(packageVersion("survival")), "\n")
d <- data.frame(
  id = c(1, 1, 1, 2, 2, 3, 3, 3, 3, 4, 4),
  start = c(0, 4, 9, 2, 7, 0, 3, 6, 12, 5, 8),
  end = c(4, 9, 15, 7, 14, 3, 6, 10, 16, 8, 13),
  event = c(1, 1, 0, 1, 0, 1, 1, 0, 0, 1, 0)
)
fit <- survfit(Surv(start, end, event) ~ 1, data = d, id = id)
at <- fit$n.event > 0
print(cbind(fit$time, fit$n.risk, fit$n.event, fit$cumhaz, fit$std.chaz)[at, ], digits = 12)
