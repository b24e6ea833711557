# Random breakpoints by other hands: R with nlme on steps.csv; writes figures.csv. Run in this folder:
#     Rscript random_breakpoints.R
# hand load = a(rider) + d (c(rider, day) - setback)+, the corner rounded over 0.5 mm so that the likelihood has a slope
# there. Spread between days: riders and days at random, REML. Riders' own onsets: a level and a place for each rider,
# days at random, as a panel has them that holds nothing of other riders.
library(nlme)
steps <- read.csv("steps.csv")
steps$rider <- factor(steps$rider)
steps$visit <- interaction(steps$rider, steps$day, drop = TRUE)
steps$x <- -steps$setback_mm
hinge <- function(x, a, d, c) a + d * 0.5 * log1p(exp((x - c) / 0.5))
patient <- nlmeControl(maxIter = 200, pnlsTol = 1e-3, msMaxIter = 200)
spread <- nlme(hand_load_n ~ hinge(x, a, d, c), data = steps, fixed = list(a ~ 1, d ~ 1, c ~ 1),
               random = list(rider = pdDiag(list(a ~ 1, c ~ 1)), visit = pdDiag(list(c ~ 1))),
               start = c(80, 1.5, -50), method = "REML", control = patient)
riders <- nlevels(steps$rider)
own <- nlme(hand_load_n ~ hinge(x, a, d, c), data = steps,
            fixed = list(a ~ rider - 1, d ~ 1, c ~ rider - 1), random = c ~ 1 | visit,
            start = c(rep(80, riders), 1.5, rep(-50, riders)), method = "REML", control = patient)
print(spread)
print(own)
at <- grep("^c.rider", names(fixef(own)))
sds <- as.numeric(VarCorr(spread)[, "StdDev"])
figures <- rbind(data.frame(what = "sd between days", mm = sds[length(sds) - 1]),
                 data.frame(what = levels(steps$rider), mm = -fixef(own)[at]))
write.csv(transform(figures, mm = round(mm, 3)), "figures.csv", row.names = FALSE, quote = FALSE)
