# Fits a simulated fleet with lme4 and survival, for tests/stats/reference.rs: one line for each figure, name and value.
suppressMessages({ library(lme4); library(survival) })
folder <- commandArgs(TRUE)[1]
say <- function(name, value) cat(sprintf("%s %.12g\n", name, value))

readings <- read.csv(file.path(folder, "readings.csv"))
tight <- lmerControl(calc.derivs = FALSE, optimizer = "nloptwrap",
                     optCtrl = list(xtol_abs = 1e-10, ftol_abs = 1e-10, xtol_rel = 1e-12, ftol_rel = 1e-14, maxeval = 3000))
fit <- lmer(mah ~ x + (1 + x | pack) + (1 | slot), readings, REML = TRUE, control = tight)
say("criterion", REMLcrit(fit))
say("level", fixef(fit)[[1]]); say("slope", fixef(fit)[[2]])
say("level_error", sqrt(vcov(fit)[1, 1])); say("slope_error", sqrt(vcov(fit)[2, 2]))
spread <- VarCorr(fit)
say("pack_level", spread$pack[1, 1]); say("pack_across", spread$pack[1, 2]); say("pack_slope", spread$pack[2, 2])
say("slot", spread$slot[1, 1]); say("residual", sigma(fit)^2)
lines <- ranef(fit)$pack
for (pack in c("0", "1", "499", "999")) {
  say(paste0("line_level_", pack), lines[pack, 1]); say(paste0("line_slope_", pack), lines[pack, 2])
}
biases <- ranef(fit)$slot
for (slot in c("0", "77", "143")) say(paste0("bias_", slot), biases[slot, 1])

lives <- read.csv(file.path(folder, "lives.csv"))
law <- survreg(Surv(left, failed) ~ 1, lives, dist = "weibull", control = survreg.control(rel.tolerance = 1e-12, maxiter = 100))
say("weibull_scale", exp(coef(law)[[1]])); say("weibull_shape", 1 / law$scale); say("weibull_loglik", law$loglik[1])
late <- survfit(Surv(entered, left, failed) ~ 1, lives[lives$entered < lives$left, ])
for (age in c(2, 4, 6)) {
  at <- summary(late, times = age)
  say(paste0("surviving_", age), at$surv); say(paste0("error_", age), at$std.err)
}
test <- survdiff(Surv(left, failed) ~ make, lives)
say("logrank", test$chisq)
