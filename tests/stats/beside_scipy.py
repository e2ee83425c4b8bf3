"""The same chances by scipy, line by line: a name and a number."""

from scipy import stats


def say(name, value):
    print(name, repr(float(value)))


for lot, bad, sample in [(24, 3, 6), (48, 4, 6), (48, 5, 13), (500, 25, 50), (3200, 80, 125)]:
    for accept in (0, 1, 3):
        say(f"hypergeometric {lot} {bad} {sample} {accept}", stats.hypergeom.cdf(accept, lot, bad, sample))
for sample, share in [(8, 0.01), (13, 0.04), (80, 0.05), (125, 0.1)]:
    for accept in (0, 1, 5):
        say(f"binomial {sample} {share} {accept}", stats.binom.cdf(accept, sample, share))
for f, above, below in [(5.32, 2, 18), (1.229, 18, 60), (622.79, 9, 18)]:
    say(f"f {f} {above} {below}", stats.f.sf(f, above, below))
for t, freedom in [(2.0, 3), (1.5, 40), (6.0, 9)]:
    say(f"t {t} {freedom}", 2 * stats.t.sf(t, freedom))
for k, sample, share in [(1.3265, 49, 0.05), (1.3265, 49, 0.15), (1.8, 20, 0.02)]:
    # The k method: accepted when mean - k s >= limit, with a noncentral t.
    root = sample**0.5
    distance = -stats.norm.ppf(share) * root
    say(f"k {k} {sample} {share}", stats.nct.sf(k * root, sample - 1, distance))
