# Generator fans, Weibull shape fixed at 1.5: R 4.2.2, survival 3.5-3.
# Default tolerance gives 17228.240634, a tight one 17228.240661103 = (sum t^1.5 / 12)^(2/3).
library(survival)
fans <- read.csv("generator_fan.csv")
loose <- survreg(Surv(hours, status) ~ 1, data = fans, scale = 1 / 1.5)
tight <- survreg(Surv(hours, status) ~ 1, data = fans, scale = 1 / 1.5,
                 control = list(rel.tolerance = 1e-15, maxiter = 100))
print(exp(c(coef(loose), coef(tight))), digits = 14)
