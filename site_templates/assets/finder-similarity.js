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
    if (candidate === null) return field.title + ": not recorded";
    const text = (value) => (typeof value === "string" ? value : formatValue(field, value, system));
    return `${field.title}: ${text(candidate)} instead of ${text(query)}`;
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
    const planQuery = columns.map((column) => column.query);
    const planMatches = matchesOf(planQuery, engineType(planned));

    // Each build of the calibration sample is estimated from the others.
    const sampleSize = Math.min(rows.length, rules.calibration);
    const sample = [];
    for (let i = 0; i < sampleSize; i++) {
      const index = rows.length <= rules.calibration ? i : Math.floor((i * rows.length) / rules.calibration);
      const query = columns.map(({ isNumber, values }) => {
        const value = values[rows[index]];
        return !isNumber && value < 0 ? null : value;
      });
      sample.push([index, matchesOf(query, types[index]), query]);
      if (i % 10 === 9) yield i / sampleSize;
    }
    const plannedFamily = archive.choices.family.indexOf(plan.family);
    const isNewFamily = plannedFamily < 0 || !families.includes(plannedFamily);
    const context = { archive, rules, rows, sizes, sample, families, isNewFamily, columns };
    const expected = [];
    for (const target of TARGETS) {
      const result = yield* expect(context, planQuery, engineSize(scaledBy), planMatches, target);
      if (result) expected.push(result);
    }
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

  // What is expected of a query, ln: the mean of the nearest matches that record the target, scaled to a size, and what
  // each field in which the query differs from them adds; `sigma` is the error that was left.
  function predict({ archive, rules, rows, sizes, columns }, query, size, matches, target) {
    const results = archive.values[target];
    const used = matches.filter(([, index]) => results[rows[index]] > 0).slice(0, rules.mostRelatives);
    const values = used.map(([, index]) => Math.log(results[rows[index]]) + logScale(sizes[index], size, target));
    const weights = used.map(([value]) => 1 / (value + rules.near));
    const differences = used.map(([, index]) => columns.map((column, i) => difference(column, query[i], rows[index])));
    return { ...adjustedMean(rules, values, weights, differences), differences, used: used.map(([, index]) => index) };
  }

  // The query less the build in one field, on its scale times the root of its weight; NaN where either lacks it.
  function difference({ isNumber, weight, values }, query, row) {
    if (isNumber) return (query - values[row]) / Math.sqrt(weight);
    if (query === null || values[row] < 0) return NaN;
    return query === values[row] ? 0 : Math.sqrt(weight);
  }

  // A ridge regression of the values on the differences, as in adjusted_mean.py.
  function adjustedMean(rules, values, weights, differences) {
    const count = values.length, fields = count ? differences[0].length : 0;
    const sum = (list) => list.reduce((total, value) => total + value, 0);
    const total = sum(weights);
    const shares = weights.map((weight) => weight / total);
    const mean = sum(values.map((value, k) => shares[k] * value));
    const residuals = values.map((value) => value - mean);
    const center = Array.from({ length: fields }, (_, i) => {
      let known = 0, weighted = 0;
      for (let k = 0; k < count; k++) {
        if (Number.isNaN(differences[k][i])) continue;
        known += shares[k];
        weighted += shares[k] * differences[k][i];
      }
      return known ? weighted / known : 0;
    });
    const x = differences.map((row) => row.map((value, i) => (Number.isNaN(value) ? 0 : value - center[i])));
    const products = center.map((_, i) => new Float64Array(i + 1));
    const targets = new Float64Array(fields);
    for (let k = 0; k < count; k++) {
      for (let i = 0; i < fields; i++) {
        const weighted = count * shares[k] * x[k][i];
        targets[i] += weighted * residuals[k];
        for (let j = 0; j <= i; j++) products[i][j] += weighted * x[k][j];
      }
    }
    // An infinite penalty, the plain mean, comes first.
    let slopes = new Float64Array(fields);
    let variance = sum(residuals.map((residual, k) => shares[k] * (residual / (1 - shares[k])) ** 2));
    for (const penalty of rules.penalties) {
      const factor = choleskyFactor(products, penalty);
      const solved = solveForward(factor, targets);
      let candidate = 0;
      for (let k = 0; k < count; k++) {
        const row = solveForward(factor, x[k]);
        let fitted = 0, leverage = 0;
        for (let i = 0; i < fields; i++) {
          fitted += row[i] * solved[i];
          leverage += row[i] * row[i];
        }
        candidate += shares[k] * ((residuals[k] - fitted) / (1 - shares[k] * (1 + count * leverage))) ** 2;
      }
      if (candidate < variance) [variance, slopes] = [candidate, solveBackward(factor, solved)];
    }
    const adjustments = center.map((value, i) => -slopes[i] * value);
    return { mean, adjustments, value: mean + sum(adjustments), sigma: Math.sqrt(variance + rules.floor ** 2) };
  }

  // The Cholesky factor of a symmetric matrix, of which the lower half is given, with the penalty on its diagonal.
  function choleskyFactor(matrix, penalty) {
    const factor = matrix.map((row) => Float64Array.from(row));
    for (let i = 0; i < factor.length; i++) {
      for (let j = 0; j <= i; j++) {
        let value = factor[i][j] + (i === j ? penalty : 0);
        for (let k = 0; k < j; k++) value -= factor[i][k] * factor[j][k];
        factor[i][j] = i === j ? Math.sqrt(value) : value / factor[j][j];
      }
    }
    return factor;
  }

  function solveForward(factor, vector) {
    const solved = new Float64Array(vector.length);
    for (let i = 0; i < solved.length; i++) {
      let value = vector[i];
      for (let j = 0; j < i; j++) value -= factor[i][j] * solved[j];
      solved[i] = value / factor[i][i];
    }
    return solved;
  }

  function solveBackward(factor, vector) {
    const solved = Float64Array.from(vector);
    for (let i = solved.length - 1; i >= 0; i--) {
      for (let j = i + 1; j < solved.length; j++) solved[i] -= factor[j][i] * solved[j];
      solved[i] /= factor[i][i];
    }
    return solved;
  }

  // The adjustments that are large enough to show, the largest first, and the rest as one share.
  function shownAdjustments({ rules, columns }, { adjustments, differences }) {
    const [minimum, maximum] = rules.shown;
    const largest = adjustments.map((log, i) => [log, i]).sort((a, b) => Math.abs(b[0]) - Math.abs(a[0]));
    const shown = largest.slice(0, maximum).filter(([log]) => Math.abs(log) >= minimum);
    const rest = adjustments.reduce((total, log) => total + log, 0) - shown.reduce((total, [log]) => total + log, 0);
    return {
      adjustments: shown.map(([log, i]) => {
        const known = differences.map((row) => row[i]).filter((value) => !Number.isNaN(value));
        const isBeyond = columns[i].isNumber && (known.every((value) => value > 0) || known.every((value) => value < 0));
        return { field: columns[i].field, share: Math.expm1(log), isBeyond };
      }),
      otherAdjustments: Math.expm1(rest),
      minimumShown: minimum,
    };
  }

  // The score, of those sorted, that covers the share of one more; with few, the largest.
  function quantile(scores, level) {
    return scores[Math.min(scores.length, Math.ceil((scores.length + 1) * level - 1e-9)) - 1];
  }

  // The errors of builds estimated without their family, or without their engine alone; null with too few. The engine
  // alone is left out where the plan is of a family that the archive has.
  function* calibrate(context, target) {
    const { archive, rules, rows, sample, families, isNewFamily } = context;
    const known = sample.filter(([index]) => archive.values[target][rows[index]] > 0);
    if (isNewFamily && new Set(known.map(([index]) => families[index])).size < known.length) {
      const byFamily = yield* errorsOf(context, known, target, families, "families");
      if (byFamily && byFamily.errors.length >= rules.familyCalibration) return byFamily;
    }
    return yield* errorsOf(context, known, target, rows.map((row) => archive.engines[row]), "builds");
  }

  // The errors of builds, each estimated from those of other groups; null with too few.
  function* errorsOf(context, known, target, groups, leftOut) {
    const { archive, rules, rows, sizes } = context;
    const errors = [];
    let done = 0;
    for (const [index, matches, query] of known) {
      if (++done % 10 === 0) yield done / known.length;
      const others = matches.filter(([, other]) => groups[other] !== groups[index]);
      const predicted = predict(context, query, sizes[index], others, target);
      if (predicted.used.length < rules.leastRelatives) continue;
      const error = Math.abs(Math.log(archive.values[target][rows[index]]) - predicted.value);
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
  function* expect(context, planQuery, planSize, planMatches, target) {
    const { valueOf } = globalThis.millbook.core;
    const { archive, rules, rows } = context;
    const predicted = predict(context, planQuery, planSize, planMatches, target);
    if (predicted.used.length < rules.leastRelatives) return null;
    const calibration = yield* calibrate(context, target);
    if (!calibration) return null;
    const { errors, groupCount, leftOut } = calibration;
    const count = errors.length;
    const scores = errors.map(({ score }) => score).sort((a, b) => a - b);
    const halfWidth = quantile(scores, rules.level) * predicted.sigma;
    const used = new Set(predicted.used);
    const matchErrors = errors.filter(({ index }) => used.has(index));
    const relative = errors.map(({ error }) => Math.expm1(error)).sort((a, b) => a - b);
    const isCovered = (error) => error.covered;
    return {
      field: archive.bySlug[target],
      value: Math.exp(predicted.value),
      average: Math.exp(predicted.mean),
      ...shownAdjustments(context, predicted),
      min: Math.exp(predicted.value - halfWidth),
      max: Math.exp(predicted.value + halfWidth),
      level: Math.min(rules.level, groupCount / (groupCount + 1)),
      evaluated: count,
      covered: errors.filter(isCovered).length,
      matchesEvaluated: matchErrors.length,
      matchesCovered: matchErrors.filter(isCovered).length,
      error: (relative[(count - 1) >> 1] + relative[count >> 1]) / 2,
      leftOut,
      matches: predicted.used.map((index) => rows[index]),
      noted: predicted.used.filter((index) => valueOf(archive, "result_source", rows[index]) === rules.noted).length,
    };
  }

  // How an expected result comes about in one sentence: what the matches made at this size, and the adjustments.
  function workingText({ field, average, adjustments, otherAdjustments, matches, noted, minimumShown }, system) {
    const { formatValue, inSentence } = globalThis.millbook.core;
    const percent = (share) => (share < 0 ? "−" : "+") + Math.round(100 * Math.abs(share)) + " %";
    const texts = adjustments.map(({ field: adjusted, share, isBeyond }) =>
      inSentence(adjusted.title) + " " + percent(share) + (isBeyond ? " (beyond all of them)" : ""));
    if (Math.abs(otherAdjustments) >= minimumShown) texts.push("other differences " + percent(otherAdjustments));
    return "the " + matches.length + " closest builds" + (noted ? " (" + noted + " with a noted result, no log)" : "") +
      " at this size: " + formatValue(field, average, system) + " on average; " +
      (texts.length ? "adjusted for " + texts.join(", ") : "no adjustment");
  }

  const similarity = { distances, differences, differenceText, estimate, estimateSteps, workingText };
  globalThis.millbook = Object.assign(globalThis.millbook || {}, { similarity });
  if (typeof module !== "undefined") module.exports = similarity;
})();
