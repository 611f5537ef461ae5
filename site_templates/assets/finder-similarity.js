// Similarity of builds to a planned engine, and the estimate of its power and torque. The rules are those of
// builder/archive/similarity.py and estimate.py, which explain them; a test compares the results of both.
(function () {
  "use strict";

  const TARGETS = ["peak_torque", "peak_torque_speed", "peak_power", "peak_power_speed"];

  // A number on the scale on which the distances of its field are measured; NaN where it has none.
  function scaled(value, field) {
    if (value === null || value === undefined || Number.isNaN(value) || (field.ratio && value <= 0)) return NaN;
    return field.ratio ? Math.log(value) / Math.log(field.span) : value / field.span;
  }

  const isPlanned = (plan, field) => field.weight > 0 && plan[field.slug] !== undefined && plan[field.slug] !== null;

  /**
   * Return the columns of the planned fields, numbers first: the plan's value and that of every build, numbers
   * multiplied by the weight of the field.
   */
  function planColumns(archive, plan, include = () => true) {
    const columns = [];
    for (const kind of ["number", "choice"]) {
      for (const field of archive.fields) {
        if (field.kind !== kind || !isPlanned(plan, field) || !include(field)) continue;
        const { slug, weight } = field;
        const isNumber = kind === "number";
        const query = isNumber ? weight * scaled(plan[slug], field) : archive.choices[slug].indexOf(plan[slug]);
        if (Number.isNaN(query)) continue;
        const values = isNumber ? archive.values[slug].map((value) => weight * scaled(value, field)) : archive.codes[slug];
        columns.push({ field, isNumber, weight, query, values });
      }
    }
    return columns;
  }

  // The distance from a query, a value for each column (NaN or null where unknown), to a build; Infinity where they
  // share too little.
  function distance(archive, columns, query, row) {
    const [missingDifference, minSharedWeight, minSharedFields] = archive.rules;
    let total = 0, queryWeight = 0, sharedWeight = 0, sharedFields = 0, queryFields = 0;
    for (let i = 0; i < columns.length; i++) {
      const { field, isNumber, weight, values } = columns[i];
      const value = query[i];
      if (value === null || Number.isNaN(value)) continue;
      const candidate = values[row];
      const isMissing = isNumber ? Number.isNaN(candidate) : candidate < 0;
      if (isMissing && field.optional) continue;
      queryFields += 1;
      queryWeight += weight;
      if (isMissing) {
        total += missingDifference * weight;
        continue;
      }
      sharedWeight += weight;
      sharedFields += 1;
      if (isNumber) total += Math.min(weight, Math.abs(value - candidate));
      else if (value !== candidate) total += weight;
    }
    const enough = sharedWeight >= minSharedWeight * queryWeight - 1e-9 &&
      sharedFields >= Math.min(minSharedFields, queryFields);
    return queryWeight > 0 && enough ? Math.round((total / queryWeight) * 1e9) / 1e9 : Infinity;
  }

  /** @returns {Float64Array} the distance from a plan to every build; Infinity where they share too little */
  function distances(archive, plan) {
    const columns = planColumns(archive, plan);
    const query = columns.map((column) => column.query);
    return Float64Array.from({ length: archive.size }, (_, row) => distance(archive, columns, query, row));
  }

  /** Return in which fields a build differs from a plan, the largest share of the distance first. */
  function differences(archive, plan, row) {
    const fields = archive.fields.filter((field) =>
      isPlanned(plan, field) && (field.kind === "choice" || !Number.isNaN(scaled(plan[field.slug], field))));
    const { valueOf } = globalThis.millbook.core;
    const counted = fields.filter((field) => !field.optional || valueOf(archive, field.slug, row) !== null);
    const queryWeight = counted.reduce((sum, field) => sum + field.weight, 0);
    const results = [];
    for (const field of counted) {
      const query = plan[field.slug];
      const candidate = valueOf(archive, field.slug, row);
      if (candidate === query) continue;
      let cost = field.weight;
      if (candidate === null) cost *= archive.rules[0];
      else if (field.kind === "number") {
        const difference = Math.abs(scaled(query, field) - scaled(candidate, field));
        cost *= Number.isNaN(difference) ? 1 : Math.min(1, difference);
      }
      results.push({ field, query, candidate, share: cost / queryWeight, order: Math.round(cost * 1e9) });
    }
    // The sort is stable, so that equal shares stay in the order of the fields.
    return results.sort((a, b) => b.order - a.order);
  }

  function differenceText({ field, query, candidate }, system) {
    const { formatValue } = globalThis.millbook.core;
    if (candidate === null) return field.title + " not recorded";
    if (typeof candidate === "string") return field.title + " " + candidate + ", not " + query;
    const difference = formatValue(field, Math.abs(candidate - query), system);
    const direction = candidate > query ? " more (" : " less (";
    return field.title + " " + difference + direction + formatValue(field, candidate, system) + ")";
  }

  // ---- estimate ----------------------------------------------------------------------------------------

  /**
   * Estimate the results of a plan in steps, so that the page stays responsive. Indexes below count `rows`, the builds
   * with a displacement and a result.
   * @returns {Generator<number, {expected: Object[], reasons: string[], notes: string[]}>} yields progress; `notes`
   *   name the fields that were left out of the match
   */
  function* estimateSteps(archive, plan, system) {
    const { valueOf } = globalThis.millbook.core;
    const rules = archive.estimate;
    let notes = [];
    const noEstimate = (...reasons) => ({ expected: [], reasons, notes });
    if (!(plan.displacement > 0)) return noEstimate("enter the planned displacement");
    let columns = planColumns(archive, plan, (field) => field.group !== "result");
    if (!columns.length) return noEstimate("no planned field counts in the match");

    const rows = [];
    for (let row = 0; row < archive.size; row++) {
      const hasResult = TARGETS.some((target) => archive.values[target][row] > 0);
      if (archive.values.displacement[row] > 0 && hasResult) rows.push(row);
    }
    if (rows.length < rules.leastRelatives) return noEstimate(tooFew(rules, rows.length));
    const outside = fieldsOutside(archive, columns, rows, plan, system);
    const required = outside.filter(({ isRequired }) => isRequired);
    if (required.length) return noEstimate(...required.map(({ text }) => text));
    notes = outside.map(({ text }) => text);
    if (outside.length) {
      const weightOf = (some) => some.reduce((sum, { weight }) => sum + weight, 0);
      const remaining = columns.filter(({ field }) => !outside.some((item) => item.field === field));
      if (weightOf(remaining) < archive.rules[1] * weightOf(columns)) {
        return noEstimate("most of the plan lies outside what the archive covers");
      }
      columns = remaining;
    }

    const types = rows.map((row) => engineType((slug) => valueOf(archive, slug, row)));
    const sizes = rows.map((row) => engineSize((slug) => valueOf(archive, slug, row)));
    const planned = (slug) => plan[slug] || null;
    // A stroke or a number of cylinders that is left out of the match is left out of the scaling too.
    const leftOut = outside.map(({ field }) => field.slug).filter((slug) => slug === "stroke" || slug === "cylinders");
    const scaledBy = (slug) => (leftOut.includes(slug) ? null : planned(slug));
    // The family of each build; one without is a family by itself.
    const families = rows.map((row, index) => {
      const code = archive.codes.family[row];
      return code < 0 ? archive.choices.family.length + index : code;
    });
    // Compatible builds near enough, as [distance, index], nearest first.
    const matchesOf = (query, type) => {
      const matches = [];
      for (let index = 0; index < rows.length; index++) {
        if (isIncompatible(type, types[index])) continue;
        const value = distance(archive, columns, query, rows[index]);
        if (value <= rules.farthest) matches.push([value, index]);
      }
      return matches.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
    };
    const planMatches = matchesOf(columns.map((column) => column.query), engineType(planned));

    // Each build of the calibration sample is estimated from the others.
    const sampleSize = Math.min(rows.length, rules.calibration);
    const sample = [];
    for (let i = 0; i < sampleSize; i++) {
      const index = rows.length <= rules.calibration ? i : Math.floor((i * rows.length) / rules.calibration);
      const query = columns.map(({ isNumber, values }) => {
        const value = values[rows[index]];
        return !isNumber && value < 0 ? null : value;
      });
      sample.push([index, matchesOf(query, types[index])]);
      if (i % 10 === 9) yield i / sampleSize;
    }
    const plannedFamily = archive.choices.family.indexOf(plan.family);
    const isNewFamily = plannedFamily < 0 || !families.includes(plannedFamily);
    const context = { archive, rules, rows, sizes, sample, families, isNewFamily };
    const expected = TARGETS.map((target) => expect(context, engineSize(scaledBy), planMatches, target)).filter(Boolean);
    if (!expected.some(({ field }) => field.slug === "peak_torque" || field.slug === "peak_power")) {
      return noEstimate(tooFew(rules, planMatches.length));
    }
    return { expected, reasons: [], notes };
  }

  function estimate(archive, plan, system) {
    const steps = estimateSteps(archive, plan, system);
    let step = steps.next();
    while (!step.done) step = steps.next();
    return step.value;
  }

  function tooFew(rules, count) {
    return "not enough similar builds (" + count + "; " + rules.leastRelatives + " needed)";
  }

  // The fields in which a plan is outside the archive: choices that no build has, numbers beyond the range of all builds.
  // Without a required one there is no estimate; the others are left out of the match.
  function fieldsOutside(archive, columns, rows, plan, system) {
    const { formatValue, inSentence } = globalThis.millbook.core;
    const { mustBeKnown, shouldBeKnown, margin } = archive.estimate;
    const outside = [];
    for (const field of archive.fields) {
      if (field.optional || !columns.some((column) => column.field === field)) continue;
      const value = plan[field.slug];
      if (field.kind === "choice") {
        const code = archive.choices[field.slug].indexOf(value);
        const exists = code >= 0 && rows.some((row) => archive.codes[field.slug][row] === code);
        if (exists || !mustBeKnown.concat(shouldBeKnown).includes(field.slug)) continue;
        const text = "no build in the archive has " + inSentence(field.title) + " " + value;
        const isRequired = mustBeKnown.includes(field.slug);
        outside.push({ field, isRequired, text: isRequired ? text : text + ": left out of the match" });
        continue;
      }
      const numbers = rows.map((row) => archive.values[field.slug][row]).filter((number) => !Number.isNaN(scaled(number, field)));
      if (!numbers.length) continue;
      const min = numbers.reduce((a, b) => Math.min(a, b)), max = numbers.reduce((a, b) => Math.max(a, b));
      const [query, low, high] = [value, min, max].map((number) => scaled(number, field));
      const tolerance = margin * (high - low) + 1e-9;
      if (query >= low - tolerance && query <= high + tolerance) continue;
      const range = formatValue(field, min, system) + " to " + formatValue(field, max, system);
      const text = field.title + " " + formatValue(field, value, system) + " lies outside what the archive covers (" + range + ")";
      if (field.slug !== "displacement") outside.push({ field, isRequired: false, text: text + ": left out of the match" });
      else if (query >= low - 1 && query <= high + 1) {
        outside.push({ field, isRequired: false, text: text + ": scaled beyond it, which the ranges do not allow for" });
      } else outside.push({ field, isRequired: true, text });
    }
    return outside;
  }

  // What a build must share with the plan: cycle, induction, and spark or compression ignition.
  function engineType(valueOf) {
    const ignition = valueOf("ignition"), fuel = valueOf("fuel");
    let ignitionKind = "";
    if (ignition !== null || fuel !== null) {
      ignitionKind = (ignition || "").includes("compression") || fuel === "diesel" ? "compression" : "spark";
    }
    return [valueOf("cycle") || "", valueOf("induction") || "", ignitionKind];
  }

  function isIncompatible(type, other) {
    return type.some((text, i) => text && other[i] && text !== other[i]);
  }

  function engineSize(valueOf) {
    const volume = valueOf("displacement"), cylinders = valueOf("cylinders"), stroke = valueOf("stroke");
    return {
      volume,
      cylinder: cylinders > 0 ? volume / cylinders : NaN,
      stroke: stroke > 0 ? stroke : NaN,
      strokes: (valueOf("cycle") || "").startsWith("two") ? 2 : 4,
    };
  }

  // ln of the factor that scales a result from one engine size to another.
  function logScale(from, to, target) {
    let speed = Math.log(from.stroke / to.stroke);
    if (Number.isNaN(speed)) speed = Math.log(from.cylinder / to.cylinder) / 3;
    if (Number.isNaN(speed)) speed = 0;
    const torque = Math.log(to.volume / from.volume) - Math.log(to.strokes / from.strokes);
    return target === "peak_torque" ? torque : target === "peak_power" ? torque + speed : speed;
  }

  // The weighted mean of ln of the target over the nearest matches that record it, scaled to a size; `sigma` says how
  // far they disagree.
  function meanOfMatches({ archive, rules, rows, sizes }, size, matches, target) {
    const column = archive.values[target];
    const used = matches.filter(([, index]) => column[rows[index]] > 0).slice(0, rules.mostRelatives);
    let weights = 0, sum = 0;
    const terms = used.map(([value, index]) => {
      const result = Math.log(column[rows[index]]) + logScale(sizes[index], size, target);
      const weight = 1 / (value + rules.near);
      weights += weight;
      sum += weight * result;
      return [weight, result];
    });
    const mean = sum / weights;
    const variance = terms.reduce((total, [weight, result]) => total + weight * (result - mean) ** 2, 0) / weights;
    return { mean, sigma: Math.sqrt(variance + rules.floor ** 2), used: used.map(([, index]) => index) };
  }

  // The score, of those sorted, that covers the share of one more; with few, the largest.
  function quantile(scores, level) {
    return scores[Math.min(scores.length, Math.ceil((scores.length + 1) * level - 1e-9)) - 1];
  }

  // The errors of builds estimated without their family, or without their engine alone; null with too few. The engine
  // alone is left out where the plan is of a family that the archive has.
  function calibrate(context, target) {
    const { archive, rules, rows, sample, families, isNewFamily } = context;
    const known = sample.filter(([index]) => archive.values[target][rows[index]] > 0);
    if (isNewFamily && new Set(known.map(([index]) => families[index])).size < known.length) {
      const byFamily = errorsOf(context, known, target, families, "families");
      if (byFamily && byFamily.errors.length >= rules.familyCalibration) return byFamily;
    }
    return errorsOf(context, known, target, rows.map((row) => archive.engines[row]), "builds");
  }

  // The errors of builds, each estimated from those of other groups; null with too few.
  function errorsOf(context, known, target, groups, leftOut) {
    const { archive, rules, rows, sizes } = context;
    const errors = [];
    for (const [index, matches] of known) {
      const others = matches.filter(([, other]) => groups[other] !== groups[index]);
      const predicted = meanOfMatches(context, sizes[index], others, target);
      if (predicted.used.length < rules.leastRelatives) continue;
      const error = Math.abs(Math.log(archive.values[target][rows[index]]) - predicted.mean);
      errors.push({ index, group: groups[index], error, score: error / predicted.sigma, covered: true });
    }
    if (errors.length < rules.leastRelatives) return null;
    const sorted = errors.slice().sort((a, b) => a.score - b.score);
    const limits = new Map();
    for (const error of errors) {
      if (!limits.has(error.group)) {
        const scores = sorted.filter(({ group }) => group !== error.group).map(({ score }) => score);
        limits.set(error.group, scores.length ? quantile(scores, rules.level) : Infinity);
      }
      error.covered = error.score <= limits.get(error.group);
    }
    return { errors, groupCount: limits.size, leftOut };
  }

  // The expected value of a target with its range, and how well the range covered the sample; null with few matches.
  function expect(context, planSize, planMatches, target) {
    const { archive, rules, rows, sizes, sample } = context;
    const minimum = rules.leastRelatives;
    const centre = meanOfMatches(context, planSize, planMatches, target);
    if (centre.used.length < minimum) return null;
    const calibration = calibrate(context, target);
    if (!calibration) return null;
    const { errors, groupCount, leftOut } = calibration;
    const count = errors.length;
    const scores = errors.map(({ score }) => score).sort((a, b) => a - b);
    const halfWidth = quantile(scores, rules.level) * centre.sigma;
    const used = new Set(centre.used);
    const matchErrors = errors.filter(({ index }) => used.has(index));
    const relative = errors.map(({ error }) => Math.expm1(error)).sort((a, b) => a - b);
    const isCovered = (error) => error.covered;
    return {
      field: archive.bySlug[target],
      value: Math.exp(centre.mean),
      min: Math.exp(centre.mean - halfWidth),
      max: Math.exp(centre.mean + halfWidth),
      level: Math.min(rules.level, groupCount / (groupCount + 1)),
      evaluated: count,
      covered: errors.filter(isCovered).length,
      matchesEvaluated: matchErrors.length,
      matchesCovered: matchErrors.filter(isCovered).length,
      error: (relative[(count - 1) >> 1] + relative[count >> 1]) / 2,
      leftOut,
      matches: centre.used.map((index) => rows[index]),
    };
  }

  const similarity = { distances, differences, differenceText, estimate, estimateSteps };
  globalThis.millbook = Object.assign(globalThis.millbook || {}, { similarity });
  if (typeof module !== "undefined") module.exports = similarity;
})();
