// Likeness of builds to a plan, and what the plan might make: the same rules as builder/archive/similarity.py
// and estimate.py, where they are explained. A test runs both on one archive and compares.
(function () {
  "use strict";

  const TARGETS = ["peak_torque", "peak_torque_speed", "peak_power", "peak_power_speed"];

  function scaled(value, field) {
    if (value === null || value === undefined || value !== value || (field.ratio && value <= 0)) return NaN;
    return field.ratio ? Math.log(value) / Math.log(field.span) : value / field.span;
  }

  // Columns of the fields that a plan states, ready to be compared: numbers scaled by weight, then choices.
  function layOut(archive, plan, useful) {
    const stated = [];
    for (const kind of ["number", "choice"]) {
      for (const field of archive.fields) {
        const value = plan[field.slug];
        if (field.kind !== kind || !(field.weight > 0) || value === undefined || value === null) continue;
        if (useful && !useful(field)) continue;
        const number = kind === "number";
        const mine = number ? field.weight * scaled(value, field) : archive.choices[field.slug].indexOf(value);
        if (number && mine !== mine) continue;
        const column = number
          ? archive.values[field.slug].map((v) => field.weight * scaled(v, field))
          : archive.codes[field.slug];
        stated.push({ field, number, weight: field.weight, mine, column });
      }
    }
    return stated;
  }

  // Distance from one set of values (own[k] for stated[k]; NaN or null where unknown) to build j.
  function distance(archive, stated, own, j) {
    const [missing, leastShared, leastFields] = archive.rules;
    let total = 0, asked = 0, shared = 0, both = 0, had = 0;
    for (let k = 0; k < stated.length; k++) {
      const { number, weight, column } = stated[k];
      const mine = own[k];
      if (mine !== mine || mine === null) continue;
      asked += weight;
      had += 1;
      const theirs = column[j];
      if (number ? theirs !== theirs : theirs < 0) {
        total += missing * weight;
        continue;
      }
      shared += weight;
      both += 1;
      if (number) total += Math.min(weight, Math.abs(mine - theirs));
      else if (mine !== theirs) total += weight;
    }
    if (!(asked > 0) || shared < leastShared * asked - 1e-9 || both < Math.min(leastFields, had)) {
      return Infinity;
    }
    return Math.round((total / asked) * 1e9) / 1e9;
  }

  // Distances from a plan to every build, in the archive's order; Infinity where there is none.
  function distances(archive, plan) {
    const stated = layOut(archive, plan);
    const own = stated.map((s) => s.mine);
    return Float64Array.from({ length: archive.n }, (_, j) => distance(archive, stated, own, j));
  }

  // Where the distance to one build comes from, the largest share first.
  function differences(archive, plan, j) {
    const stated = layOutCheap(archive, plan);
    const asked = stated.reduce((sum, s) => sum + s.weight, 0);
    const found = [];
    for (const { field, weight, value } of stated) {
      const theirs = globalThis.millbook.core.valueOf(archive, field.slug, j);
      let cost = 0;
      if (theirs === null) cost = weight * archive.rules[0];
      else if (field.kind === "choice") cost = theirs === value ? 0 : weight;
      else {
        const apart = Math.abs(scaled(value, field) - scaled(theirs, field));
        cost = weight * (apart === apart ? Math.min(1, apart) : 1);
      }
      if (theirs !== value) found.push({ field, mine: value, theirs, share: cost / asked, order: Math.round(cost * 1e9) });
    }
    // Fields are in the table's order, and a stable sort keeps equals so.
    return found.sort((a, b) => b.order - a.order);
  }

  function layOutCheap(archive, plan) {
    return archive.fields
      .filter((f) => f.weight > 0 && plan[f.slug] !== undefined && plan[f.slug] !== null)
      .filter((f) => f.kind === "choice" || !Number.isNaN(scaled(plan[f.slug], f)))
      .map((f) => ({ field: f, weight: f.weight, value: plan[f.slug] }));
  }

  function differenceText(difference, system) {
    const { show } = globalThis.millbook.core;
    const { field, mine, theirs } = difference;
    if (theirs === null) return field.title + " not recorded";
    if (typeof theirs === "string") return field.title + " " + theirs + ", not " + mine;
    const apart = show(field, Math.abs(theirs - mine), system);
    return field.title + " " + apart + (theirs > mine ? " more (" : " less (") + show(field, theirs, system) + ")";
  }

  // ---- what might it make ------------------------------------------------------------------------------

  // A generator, so that a page can spread the work; the value it returns is {expected, reasons}.
  function* estimateSteps(archive, plan, system) {
    const rules = archive.estimate;
    const none = (reason) => ({ expected: [], reasons: [].concat(reason) });
    if (!(plan.displacement > 0)) return none("the estimate needs the planned displacement");
    const stated = layOut(archive, plan, (field) => field.group !== "result");
    if (!stated.length) return none("no field of the plan has a weight in likeness");

    const volume = archive.values.displacement;
    const rows = [];
    for (let j = 0; j < archive.n; j++) {
      if (volume[j] > 0 && TARGETS.some((t) => archive.values[t][j] > 0)) rows.push(j);
    }
    if (rows.length < rules.leastRelatives) return none(tooFew(rules, rows.length));
    const beyond = outside(archive, stated, rows, plan, system);
    if (beyond.length) return none(beyond);

    const kinds = rows.map((j) => kindOf((slug) => globalThis.millbook.core.valueOf(archive, slug, j)));
    const sizes = rows.map((j) => sizeOf((slug) => globalThis.millbook.core.valueOf(archive, slug, j)));
    const planKind = kindOf((slug) => plan[slug] || null);
    const planSize = sizeOf((slug) => plan[slug] || null);
    const reach = (own, kind, skip) => {
      const found = [];
      for (let r = 0; r < rows.length; r++) {
        if (r === skip || unlike(kind, kinds[r])) continue;
        const d = distance(archive, stated, own, rows[r]);
        if (d <= rules.farthest) found.push([d, r]);
      }
      return found.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
    };
    const near = reach(stated.map((s) => s.mine), planKind, -1);

    const count = Math.min(rows.length, rules.calibration);
    const sample = [];
    for (let k = 0; k < count; k++) {
      const r = rows.length <= rules.calibration ? k : Math.floor((k * rows.length) / rules.calibration);
      const own = stated.map((s) => {
        const value = s.column[rows[r]];
        return s.number ? value : value < 0 ? null : value;
      });
      sample.push([r, reach(own, kinds[r], r)]);
      if (k % 10 === 9) yield k / count;
    }
    const expected = [];
    for (const target of TARGETS) {
      const one = expect(archive, rules, rows, sizes, planSize, near, sample, target);
      if (one) expected.push(one);
    }
    if (!expected.some((e) => e.field.slug === "peak_torque" || e.field.slug === "peak_power")) {
      return none(tooFew(rules, near.length));
    }
    return { expected, reasons: [] };
  }

  function estimate(archive, plan, system) {
    const steps = estimateSteps(archive, plan, system);
    let step = steps.next();
    while (!step.done) step = steps.next();
    return step.value;
  }

  function tooFew(rules, count) {
    const have = count === 0 ? "there is none" : count === 1 ? "there is one" : "there are " + count;
    return "an estimate needs " + rules.leastRelatives + " useful relatives, and " + have;
  }

  function outside(archive, stated, rows, plan, system) {
    const { show } = globalThis.millbook.core;
    const reasons = [];
    for (const field of archive.fields) {
      if (!stated.some((s) => s.field === field)) continue;
      const value = plan[field.slug];
      if (field.kind === "choice") {
        const code = archive.choices[field.slug].indexOf(value);
        const had = code >= 0 && rows.some((j) => archive.codes[field.slug][j] === code);
        if (archive.estimate.mustBeKnown.includes(field.slug) && !had) {
          reasons.push("no build in the archive has " + field.title.toLowerCase() + " " + value);
        }
        continue;
      }
      let least = Infinity, most = -Infinity;
      for (const j of rows) {
        const v = archive.values[field.slug][j];
        if (v === v && !Number.isNaN(scaled(v, field))) {
          least = Math.min(least, v);
          most = Math.max(most, v);
        }
      }
      if (least > most) continue;
      const [at, low, high] = [value, least, most].map((v) => scaled(v, field));
      const room = archive.estimate.margin * (high - low) + 1e-9;
      if (at < low - room || at > high + room) {
        const span = show(field, least, system) + " to " + show(field, most, system);
        const shown = show(field, value, system);
        reasons.push(field.title + " " + shown + " lies outside what the archive covers (" + span + ")");
      }
    }
    return reasons;
  }

  // What a relative must share to be of use: cycle, induction, and spark or compression ignition.
  function kindOf(read) {
    const ignition = read("ignition"), fuel = read("fuel");
    let lit = "";
    if (ignition !== null || fuel !== null) {
      lit = (ignition || "").includes("compression") || fuel === "diesel" ? "compression" : "spark";
    }
    return [read("cycle") || "", read("induction") || "", lit];
  }

  function unlike(a, b) {
    return a.some((text, i) => text && b[i] && text !== b[i]);
  }

  function sizeOf(read) {
    const volume = read("displacement"), cylinders = read("cylinders"), stroke = read("stroke");
    return {
      volume,
      cylinder: cylinders > 0 ? volume / cylinders : NaN,
      stroke: stroke > 0 ? stroke : NaN,
      strokes: (read("cycle") || "").startsWith("two") ? 2 : 4,
    };
  }

  // ln of what brings a result of engine b to the size of engine a.
  function scaleOf(a, b, target) {
    let speed = Math.log(b.stroke / a.stroke);
    if (speed !== speed) speed = Math.log(b.cylinder / a.cylinder) / 3;
    if (speed !== speed) speed = 0;
    const torque = Math.log(a.volume / b.volume) - Math.log(a.strokes / b.strokes);
    return target === "peak_torque" ? torque : target === "peak_power" ? torque + speed : speed;
  }

  // Expected ln of the target at a size, from the nearest builds that know it, and how far those disagree.
  function middle(archive, rules, rows, sizes, size, found, target) {
    const column = archive.values[target];
    const used = [];
    for (const [d, r] of found) {
      if (column[rows[r]] > 0) used.push([d, r]);
      if (used.length === rules.mostRelatives) break;
    }
    let total = 0, sum = 0;
    const each = used.map(([d, r]) => {
      const value = Math.log(column[rows[r]]) + scaleOf(size, sizes[r], target);
      const weight = 1 / (d + rules.near);
      total += weight;
      sum += weight * value;
      return [weight, value];
    });
    const mean = sum / total;
    const spread = each.reduce((s, [w, v]) => s + w * (v - mean) ** 2, 0) / total;
    return { mean, doubt: Math.sqrt(spread + rules.floor ** 2), used: used.map(([, r]) => r) };
  }

  function expect(archive, rules, rows, sizes, planSize, near, sample, target) {
    const least = rules.leastRelatives;
    const here = middle(archive, rules, rows, sizes, planSize, near, target);
    if (here.used.length < least) return null;
    const errors = [];
    for (const [r, found] of sample) {
      const truth = archive.values[target][rows[r]];
      if (!(truth > 0)) continue;
      const one = middle(archive, rules, rows, sizes, sizes[r], found, target);
      if (one.used.length < least) continue;
      const error = Math.abs(Math.log(truth) - one.mean);
      errors.push({ r, error, score: error / one.doubt });
    }
    const n = errors.length;
    if (n < least) return null;
    const order = errors.map((e) => e.score).sort((a, b) => a - b);
    const rank = Math.min(n, Math.ceil((n + 1) * rules.level - 1e-9));
    const limit = Math.min(n - 1, Math.ceil(n * rules.level - 1e-9));
    const held = (e) => e.score <= (e.score <= order[limit - 1] ? order[limit] : order[limit - 1]);
    const wide = order[rank - 1] * here.doubt;
    const chosen = new Set(here.used);
    const among = errors.filter((e) => chosen.has(e.r));
    const relative = errors.map((e) => Math.expm1(e.error)).sort((a, b) => a - b);
    return {
      field: archive.bySlug[target],
      value: Math.exp(here.mean),
      least: Math.exp(here.mean - wide),
      most: Math.exp(here.mean + wide),
      level: Math.min(rules.level, n / (n + 1)),
      tried: n,
      held: errors.filter(held).length,
      nearTried: among.length,
      nearHeld: among.filter(held).length,
      error: (relative[(n - 1) >> 1] + relative[n >> 1]) / 2,
      relatives: here.used.map((r) => rows[r]),
    };
  }

  const likeness = { distances, differences, differenceText, estimate, estimateSteps };
  globalThis.millbook = Object.assign(globalThis.millbook || {}, { likeness });
  if (typeof module !== "undefined") module.exports = likeness;
})();
