# The same file with base R and npsurv: FILE FOLDER TIMED. Times a few refits and says how long all would take.
suppressMessages(library(npsurv))
asked <- commandArgs(TRUE)
begun <- proc.time()[["elapsed"]]
rows <- read.csv(asked[1])
groups <- c("technique", "seconds", "nail_side", "toe")
sides <- rows[!duplicated(rows$side), ]
sides <- sides[order(sides$side), ]
grown <- rows[!is.na(rows$day) & rows$extent == "spicule", ]
first <- rep(Inf, nrow(sides))
found <- tapply(grown$day, grown$side, min)
first[as.integer(names(found)) + 1] <- found
clear <- rows[!is.na(rows$day) & rows$extent == "none", ]
before <- clear[clear$day < first[clear$side + 1], ]
last <- rep(0, nrow(sides))
found <- tapply(before$day, before$side, max)
last[as.integer(names(found)) + 1] <- found
late <- sides$side %in% clear$side[clear$day >= 335]
event <- first <= 425
known <- sides$followed_days >= 425 & (event | late)
events <- 0
for (name in groups) {
  hit <- tapply(event[known], sides[known, name], sum)
  of <- tapply(event[known], sides[known, name], length)
  limits <- mapply(function(x, n) prop.test(x, n)$conf.int, hit, of)
  pdf(file.path(asked[2], paste0(name, ".pdf")))
  barplot(hit / of)
  invisible(dev.off())
  events <- sum(hit)
}
fit <- function(own) npsurv(cbind(last[own], first[own]))
everybody <- seq_len(nrow(sides))
all <- fit(everybody)
by <- lapply(split(everybody, sides$technique), fit)
pdf(file.path(asked[2], "curves.pdf"))
plot(all)
invisible(dev.off())
once <- proc.time()[["elapsed"]] - begun
begun <- proc.time()[["elapsed"]]
own <- split(everybody, sides$patient)
for (run in seq_len(as.integer(asked[3]))) {
  set.seed(run)
  drawn <- unlist(own[sample(length(own), replace = TRUE)], use.names = FALSE)
  fit(drawn)
  lapply(split(drawn, sides$technique[drawn]), fit)
}
refits <- (proc.time()[["elapsed"]] - begun) / as.integer(asked[3]) * 1000
risk <- sum(all$f$p[all$f$right <= 365])
cat(sprintf('{"once": %f, "refits": %f, "risk": %.6f, "events": %d, "known": %d}\n', once, refits, risk, events, sum(known)))
