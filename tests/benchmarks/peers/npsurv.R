# Times npsurv on rows left,right (fit) or sample,left,right (refit); -1 is infinity. Prints JSON.
suppressMessages(library(npsurv))
asked <- commandArgs(TRUE)
rows <- as.matrix(read.csv(asked[2], header = FALSE))
rows[rows == -1] <- Inf
numbers <- function(values) paste0("[", paste(format(values, digits = 15, trim = TRUE), collapse = ","), "]")
seconds <- c()
end <- share <- numeric(0)
if (asked[1] == "fit") {
  for (run in seq_len(as.integer(asked[3]))) {
    seconds <- c(seconds, system.time(found <- npsurv(rows))[["elapsed"]])
  }
  end <- ifelse(is.infinite(found$f$right), 1e300, found$f$right)
  share <- cumsum(found$f$p)
} else {
  for (own in split(seq_len(nrow(rows)), rows[, 1])) {
    sample <- rows[own, 2:3]
    seconds <- c(seconds, system.time(npsurv(sample))[["elapsed"]])
  }
}
cat(sprintf(
  '{"program": "npsurv %s (R %s.%s)", "seconds": %s, "end": %s, "share": %s}\n',
  packageVersion("npsurv"), R.version$major, R.version$minor, numbers(seconds), numbers(end), numbers(share)
))
