# Reference values for regressions and competing causes: R 4.2.2, survival 3.5-3 (Debian 12).
#   Rscript survival_reference.R > survival_reference.csv
# Made-up columns (clusters, entry ages) follow rules of the row number that the tests repeat.
library(survival)
out <- data.frame()
told <- function(check, quantity, value) {
  out <<- rbind(out, data.frame(check = check, quantity = quantity, value = unname(value)))
}
tight <- coxph.control(eps = 1e-14, toler.chol = 1e-16, iter.max = 60)
tight_aft <- survreg.control(rel.tolerance = 1e-13, maxiter = 200)

cox <- function(check, fit) {
  told(check, paste0("coef ", seq_along(coef(fit))), coef(fit))
  naive <- if (is.null(fit$naive.var)) fit$var else fit$naive.var
  told(check, paste0("se_model ", seq_along(coef(fit))), sqrt(diag(naive)))
  if (!is.null(fit$naive.var)) {
    p <- length(coef(fit))
    told(check, paste0("robust ", rep(1:p, each = p), " ", rep(1:p, p)), as.vector(fit$var))
  }
  told(check, "loglik", fit$loglik[2])
  told(check, "loglik none", fit$loglik[1])
}

# --- Cox, ties by Efron --------------------------------------------------------------------------
lung <- read.csv("lung.csv")
lung$row <- seq_len(nrow(lung))
cox("lung", coxph(Surv(time, status == 2) ~ age + sex, lung, control = tight))
# days to months, so that most failures are tied; clusters of rows
lung$month <- ceiling(lung$time / 30)
lung$cluster <- lung$row %% 19
cox("lung ties clusters",
    coxph(Surv(month, status == 2) ~ age + sex + cluster(cluster), lung, control = tight))
cox("lung ties clusters strata",
    coxph(Surv(month, status == 2) ~ age + strata(sex) + cluster(cluster), lung, control = tight))

gehan <- read.csv("gehan_leukaemia.csv")
names(gehan)[grep("^time", names(gehan))] <- "time"
names(gehan)[grep("^cens", names(gehan))] <- "cens"
cox("gehan", coxph(Surv(time, cens) ~ treat, gehan, control = tight))

# --- late entry ----------------------------------------------------------------------------------
channing <- read.csv("channing.csv")
channing <- channing[channing$ageentry < channing$age, ]
channing$cluster <- seq_len(nrow(channing)) %% 23
late <- coxph(Surv(ageentry, age, death) ~ gender + cluster(cluster), channing, control = tight)
cox("channing late entry clusters", late)
# conditional on 816 months, as the risk sets of the men stand empty before
old <- channing[channing$age > 816, ]
old$from <- pmax(old$ageentry, 816)
fit <- coxph(Surv(from, age, death) ~ gender, old, control = tight)
cox("channing from 816", fit)
curve <- survfit(fit, newdata = data.frame(gender = c(1, 2)), ctype = 1, stype = 2, se.fit = FALSE)
at <- c(850, 900, 950, 1000, 1050, 1100)
seen <- summary(curve, times = at)
for (g in 1:2) told("channing from 816", paste0("survival ", g, " ", at), seen$surv[, g])

# --- is the ratio the same at all ages? ----------------------------------------------------------
ovarian <- read.csv("ovarian.csv")
fit <- coxph(Surv(futime, fustat) ~ age + ecog.ps, ovarian, control = tight)
for (how in c("km", "log")) {
  zph <- cox.zph(fit, transform = if (how == "log") log else how)
  told("ovarian zph", paste(how, c("1", "2", "global")), zph$table[, "chisq"])
}

# --- Weibull lives with factors ------------------------------------------------------------------
aft <- function(check, fit) {
  told(check, paste0("coef ", seq_along(coef(fit)) - 1), coef(fit))
  told(check, paste0("sigma ", seq_along(fit$scale)), fit$scale)
  naive <- if (is.null(fit$naive.var)) fit$var else fit$naive.var
  told(check, paste0("se_model ", seq_along(coef(fit)) - 1), sqrt(diag(naive))[seq_along(coef(fit))])
  if (!is.null(fit$naive.var)) {
    told(check, paste0("se_robust ", seq_along(coef(fit)) - 1), sqrt(diag(fit$var))[seq_along(coef(fit))])
  }
  told(check, "loglik", fit$loglik[2])
  told(check, "loglik none", fit$loglik[1])
}
aft("ovarian aft",
    survreg(Surv(futime, fustat) ~ ecog.ps + rx, ovarian, control = tight_aft))
aft("lung aft clusters",
    survreg(Surv(time, status == 2) ~ age + sex + cluster(cluster), lung, control = tight_aft))
aft("lung aft strata",
    survreg(Surv(time, status == 2) ~ age + sex + strata(sex), lung, control = tight_aft))

# --- incidence of competing causes with late entry -----------------------------------------------
shock <- read.csv("shock_absorber.csv")
shock$row <- seq_len(nrow(shock))
shock$entry <- ifelse(shock$row %% 3 == 0, 0.4 * shock$distance_km, 0)
shock$event <- factor(shock$mode, 0:2)
curve <- survfit(Surv(entry, distance_km, event) ~ 1, shock, id = row)
at <- c(6700, 9120, 12200, 14300, 20100, 20900, 22700, 27490)
seen <- summary(curve, times = at)
for (k in 1:2) {
  told("shock absorber late entry", paste0("incidence ", k, " ", at), seen$pstate[, k + 1])
  told("shock absorber late entry", paste0("se ", k, " ", at), seen$std.err[, k + 1])
}

# --- positions that differ: gamma law of a hidden rate, Weibull lives ----------------------------
# no package: the marginal likelihood, integrated numerically over the hidden rate of each patient
kidney <- read.csv("kidney_catheter.csv")
hidden <- function(par, late = 0) {
  shape <- exp(-par[1]); theta <- exp(par[4])
  mu <- par[2] + par[3] * (kidney$sex == 2)
  entry <- ifelse(kidney$id %% 3 == 0, late * kidney$time, 0)
  whole <- (kidney$time * exp(-mu))^shape - (entry * exp(-mu))^shape
  each <- log(shape) - shape * mu + (shape - 1) * log(kidney$time)
  total <- 0
  for (u in unique(kidney$id)) {
    own <- kidney$id == u
    d <- sum(kidney$status[own]); h <- sum(whole[own])
    # over log rate, from its top, where the integrand is smooth and falls fast on both sides
    k <- d + 1 / theta
    top <- log(k / (h + 1 / theta))
    height <- k * top - k - lgamma(1 / theta) - log(theta) / theta
    inside <- function(v) exp(k * v - k * expm1(v))
    wide <- c(max(12 / sqrt(k), 45 / k), max(12 / sqrt(k), 5))
    area <- integrate(inside, -wide[1], 0, rel.tol = 1e-12, subdivisions = 5000)$value +
      integrate(inside, 0, wide[2], rel.tol = 1e-12, subdivisions = 5000)$value
    total <- total + sum((kidney$status * each)[own]) + height + log(area)
  }
  total
}
for (late in c(0, 0.2)) {
  top <- optim(c(0, 5, 1, log(0.5)), hidden, late = late,
               control = list(fnscale = -1, reltol = 1e-15, maxit = 20000))
  top <- optim(top$par, hidden, late = late, method = "BFGS", hessian = TRUE,
               control = list(fnscale = -1, reltol = 1e-16, maxit = 500))
  check <- if (late > 0) "kidney hidden late" else "kidney hidden"
  told(check, c("log sigma", "log scale", "effect", "log theta"), top$par)
  told(check, c("se log sigma", "se log scale", "se effect"), sqrt(diag(solve(-top$hessian)))[1:3])
  told(check, "loglik", top$value)
}

out$value <- sprintf("%.12g", out$value)
write.csv(out, row.names = FALSE, quote = FALSE)
