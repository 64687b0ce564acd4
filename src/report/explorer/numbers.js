// Student's t and weighted mixtures of it, as src/stats/student_t.rs and src/predict/mixture.rs compute them.

// ln Γ(a), a > 0: Lanczos's approximation (SIAM J. Numer. Anal. Ser. B 1, 1964) with g = 7 and nine terms; good to about 1e-15
// of its size. Coefficients from memory; a browser test compares the distribution with the command's.
const LANCZOS = [0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313, -176.61502916214059,
  12.507343278686905, -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7];

function lnGamma(a) {
  if (a < 0.5) return Math.log(Math.PI / Math.sin(Math.PI * a)) - lnGamma(1 - a);
  let sum = LANCZOS[0];
  for (let i = 1; i < 9; i++) sum += LANCZOS[i] / (a - 1 + i);
  const t = a + 6.5;
  return 0.5 * Math.log(2 * Math.PI) + (a - 0.5) * Math.log(t) - t + Math.log(sum);
}

// The continued fraction of the incomplete beta function (DLMF 8.17.22), by Lentz's method; converges fast for x below
// (a + 1)/(a + b + 2).
function betaFraction(a, b, x) {
  const tiny = 1e-300;
  let c = 1, d = 1 - (a + b) * x / (a + 1);
  d = 1 / (Math.abs(d) < tiny ? tiny : d);
  let f = d;
  for (let m = 1; m < 10000; m++) {
    for (const k of [m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
      -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))]) {
      d = 1 + k * d;
      d = 1 / (Math.abs(d) < tiny ? tiny : d);
      c = 1 + k / c;
      if (Math.abs(c) < tiny) c = tiny;
      f *= d * c;
    }
    if (Math.abs(d * c - 1) < 1e-16) break;
  }
  return f;
}

const lnBetas = new Map();
function lnHalfBeta(dof) {
  if (!lnBetas.has(dof)) lnBetas.set(dof, lnGamma(0.5) + lnGamma(0.5 * dof) - lnGamma(0.5 * dof + 0.5));
  return lnBetas.get(dof);
}

// P(T > x) for x ≥ 0 and the density at x.
function upper(x, dof) {
  const s = x / Math.sqrt(dof), square = s * s;
  const outer = 1 / (1 + square), inner = square / (1 + square), a = 0.5 * dof, b = 0.5;
  // outer^a inner^b / B(a, b) is x times the density, twice.
  const lnKernel = -a * Math.log1p(square) + b * Math.log(inner) - lnHalfBeta(dof);
  const kernel = Math.exp(lnKernel);
  const both = outer < (a + 1) / (a + b + 2)
    ? kernel * betaFraction(a, b, outer) / a
    : 1 - kernel * betaFraction(b, a, inner) / b;
  const density = Math.exp(-(a + 0.5) * Math.log1p(square) - lnHalfBeta(dof)) / Math.sqrt(dof);
  return [0.5 * both, density];
}

// [P(T ≤ x), density].
function student(x, dof) {
  if (x === 0) return [0.5, upper(0, dof)[1]];
  const [tail, density] = upper(Math.abs(x), dof);
  return [x > 0 ? 1 - tail : tail, density];
}

// Where a rising function with its slope passes p, between two places: Newton's steps, halving where one leaves the bracket.
function rise(low, high, p, tolerance, probe) {
  let x = 0.5 * (low + high);
  for (let i = 0; i < 400 && high - low > tolerance; i++) {
    const [value, slope] = probe(x);
    if (value < p) low = x; else high = x;
    const step = (p - value) / slope;
    const next = x + step;
    const inside = next > low && next < high;
    if (inside && Math.abs(step) < 0.25 * tolerance) return next;
    x = inside && i % 8 !== 7 ? next : 0.5 * (low + high);
  }
  return x;
}

const ownQuantiles = new Map();
function studentQuantile(p, dof) {
  const key = p + '/' + dof;
  if (!ownQuantiles.has(key)) {
    let reach = 2;
    while (student(-reach, dof)[0] > Math.min(p, 1 - p) && reach < 1e12) reach *= 2;
    ownQuantiles.set(key, rise(-reach, reach, p, 1e-13 * reach, (x) => student(x, dof)));
  }
  return ownQuantiles.get(key);
}

// parts: {weight, centre, scale, dof}. The value under which a share p of the mixture lies; null where there is none.
function quantile(parts, p) {
  let total = 0, low = Infinity, high = -Infinity;
  for (const c of parts) {
    if (!(isFinite(c.centre) && isFinite(c.scale) && c.scale > 0 && c.dof > 0)) return null;
    total += c.weight;
    const own = c.centre + c.scale * studentQuantile(p, c.dof);
    low = Math.min(low, own);
    high = Math.max(high, own);
  }
  if (!(total > 0 && isFinite(low) && isFinite(high))) return null;
  const tolerance = 1e-11 * (Math.abs(low) + Math.abs(high)) + 1e-300;
  return rise(low, high, p, tolerance, (v) => {
    let below = 0, density = 0;
    for (const c of parts) {
      const [share, d] = student((v - c.centre) / c.scale, c.dof);
      below += c.weight * share;
      density += c.weight * d / c.scale;
    }
    return [below / total, density / total];
  });
}

function mean(parts) {
  let sum = 0, total = 0;
  for (const c of parts) { sum += c.weight * c.centre; total += c.weight; }
  return total > 0 ? sum / total : null;
}
