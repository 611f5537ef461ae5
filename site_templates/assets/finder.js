// The finder page: one state, kept in the address; every change of it is filtered, sorted and shown.
(function () {
  "use strict";

  const { core, likeness, draw } = globalThis.millbook;
  const { el, form, sentence } = globalThis.millbook.form;

  // Starting is done in steps between which the browser may paint and answer.
  const pause = () => new Promise((done) => setTimeout(done));

  async function start(host, data) {
    const archive = core.decode(data);
    const linkTo = (i) => (host.dataset.link || "builds/{slug}.html").replace("{slug}", encodeURIComponent(archive.slugs[i]));
    const state = core.emptyState(archive);
    const replace = (next) => {
      for (const key of Object.keys(state)) delete state[key];
      Object.assign(state, next);
    };
    replace(core.readState(archive, location.hash.length > 1 ? location.hash : location.search));

    let rows = [], plan = null, distances = null, plot = null;
    let written = "";
    const rowOf = new Map(archive.slugs.map((slug, i) => [slug, i]));
    const picks = () => state.pick.map((slug) => rowOf.get(slug));

    // ---- the page --------------------------------------------------------------------------------------

    let width = host.clientWidth;
    await pause();
    const ask = form(archive, state, changed, width >= 800);
    await pause();
    const found = el("p", { class: "mb-finder-count" });
    const spoken = el("p", { class: "mb-finder-hidden", role: "status" });
    const expected = el("section", { class: "mb-finder-expected", "aria-label": "What it might make", hidden: true });
    const chosen = el("section", { class: "mb-finder-chosen", "aria-label": "Chosen curves", hidden: true });
    const picture = el("div", { class: "mb-finder-plot" });
    const point = el("p", { class: "mb-finder-point" });
    const axis = (name, text) => {
      const select = el("select", { onchange: () => {
        state[name] = select.value;
        drawPoints();
        address();
      } }, ...archive.fields.filter((f) => f.kind === "number" && f.known).map((f) => el("option", { value: f.slug, text: f.title })));
      return { select, node: el("label", {}, el("span", { text }), select) };
    };
    const axes = { y: axis("y", "Up"), x: axis("x", "Across") };
    const points = el("details", { class: "mb-finder-points", open: true }, el("summary", {}, el("h2", { text: "Drawn as points" })),
      el("div", { class: "mb-finder-axes" }, axes.y.node, axes.x.node), picture, point);
    points.addEventListener("toggle", () => points.open && drawPoints());
    const table = globalThis.millbook.table.table(archive, { sort: sortBy, pick, link: linkTo });
    const sorting = el("select", { onchange: () => {
      state.sort = sorting.value;
      update("sort");
    } });
    const tools = el("div", { class: "mb-finder-tools" }, el("label", {}, el("span", { text: "Order" }), sorting),
      el("button", { type: "button", class: "mb-finder-button", text: "Save these as CSV", onclick: save }));
    sortChoices();
    found.textContent = `${archive.n} of ${archive.n} builds`;
    await pause();
    host.replaceChildren(el("div", { class: "mb-finder-body" }, ask.node,
      el("div", { class: "mb-finder-found" }, el("div", { class: "mb-finder-top" }, found, tools), spoken, expected, chosen, points, table.node)));

    // ---- changes ---------------------------------------------------------------------------------------

    function changed(what, system) {
      if (what === "units") {
        for (const [slug, texts] of Object.entries(state.ranges)) {
          state.ranges[slug] = texts.map((text) => core.retyped(archive.bySlug[slug], text, state.system, system));
        }
        for (const [slug, text] of Object.entries(state.plan)) {
          if (archive.bySlug[slug].kind === "number") state.plan[slug] = core.retyped(archive.bySlug[slug], text, state.system, system);
        }
        state.system = system;
        ask.fields();
      } else if (what === "clear") {
        replace({ ...core.emptyState(archive), system: state.system });
        ask.fields();
      } else if (what === "plan" && !plan) state.sort = "";
      update(what);
    }

    function order() {
      return state.sort && (plan || state.sort !== "like") ? state.sort : plan ? "like" : "-date";
    }

    function sortBy(slug) {
      const numeric = slug in archive.values || slug === "date";
      const first = numeric ? "-" + slug : slug;
      const second = numeric ? slug : "-" + slug;
      state.sort = slug === "like" ? "like" : order() === first ? second : first;
      update("sort");
    }

    function pick(i, on) {
      const slug = archive.slugs[i];
      if (!on) state.pick = state.pick.filter((s) => s !== slug);
      else if (state.pick.length >= 4) {
        say("Four builds are drawn already. Take one away first.");
        return false;
      } else state.pick = [...state.pick, slug];
      drawChosen();
      if (plot) plot.update(rows, picks());
      address();
      say(on ? `${archive.titles[i]} is drawn.` : `${archive.titles[i]} is no longer drawn.`);
      return on;
    }

    function update(what) {
      const asked = core.filterOf(archive, state);
      const wanted = core.planOf(archive, state);
      plan = Object.keys(wanted.plan).length ? wanted.plan : null;
      if (plan && (what !== "filter" && what !== "sort" || !distances)) distances = likeness.distances(archive, plan);
      if (!plan) distances = null;
      rows = core.matching(archive, asked.filter);
      const sort = order();
      rows = sort === "like"
        ? Array.from(rows).sort((a, b) => (distances[a] === distances[b] ? 0 : distances[a] - distances[b]) || a - b)
        : core.ordered(archive, rows, sort.replace(/^-/, ""), sort.startsWith("-"));
      ask.show(asked.wrong, wanted.wrong);
      showTable(true);
      found.replaceChildren(el("strong", { text: String(rows.length) }), ` of ${archive.n} ${archive.n === 1 ? "build" : "builds"}`);
      say(`${rows.length} of ${archive.n} builds`);
      sortChoices();
      if (what === "units" || what === "start" || what === "clear") {
        // The table is seen first, then the drawings.
        clearTimeout(drawing);
        drawing = setTimeout(() => {
          drawPoints();
          drawChosen();
        }, what === "start" ? 30 : 0);
      } else if (plot && points.open) plot.update(rows, picks());
      if (what !== "filter" && what !== "sort") guess();
      address();
    }

    function showTable(fresh) {
      table.show(rows, { system: state.system, sort: order(), picks: picks(), plan, distances }, fresh);
    }

    let drawing = 0;

    // Spoken once things are quiet, so that typing is not talked over.
    let speaking = 0;
    function say(text) {
      clearTimeout(speaking);
      speaking = setTimeout(() => {
        spoken.textContent = text;
      }, 500);
    }

    function sortChoices() {
      const names = [["-date", "Newest first"], ["date", "Oldest first"], ["title", "By name"]];
      if (plan) names.unshift(["like", "Most alike first"]);
      for (const slug of table.columns) {
        const field = archive.bySlug[slug];
        if (field && field.kind === "number") names.push(["-" + slug, `${field.title}, most first`], [slug, `${field.title}, least first`]);
      }
      const sort = order();
      if (!names.some(([value]) => value === sort)) {
        const field = archive.bySlug[sort.replace(/^-/, "")] || { title: "By name" };
        names.push([sort, field.title + (sort.startsWith("-") ? ", turned round" : "")]);
      }
      const now = names.map(([value]) => value).join();
      if (sorting.dataset.made !== now) {
        sorting.replaceChildren(...names.map(([value, text]) => el("option", { value, text })));
        sorting.dataset.made = now;
      }
      sorting.value = sort;
    }

    // ---- drawings --------------------------------------------------------------------------------------

    function drawPoints() {
      axes.x.select.value = state.x;
      axes.y.select.value = state.y;
      if (!points.open) return;
      plot = draw.scatter(picture, archive, {
        x: state.x, y: state.y, system: state.system, width: points.clientWidth,
        onPoint(i) {
          const texts = [state.y, state.x].map((slug) => core.show(archive.bySlug[slug], archive.values[slug][i], state.system));
          point.replaceChildren(el("a", { href: linkTo(i), text: archive.titles[i] }), `, ${texts.join(" at ")}`);
          say(point.textContent);
        },
        onOpen(i) {
          location.href = linkTo(i);
        },
      });
      const shown = plot.update(rows, picks());
      point.textContent = shown ? "Each dot is a build; the pale ones are left out by what is asked. Point at one for its name." : "";
    }

    function drawChosen() {
      const now = picks();
      chosen.hidden = !now.length;
      if (!now.length) return;
      const list = el("ul", { class: "mb-finder-picks" }, ...now.map((i, k) => {
        const mark = draw.svg("svg", { width: 46, height: 18, viewBox: "0 0 46 18", "aria-hidden": "true" });
        mark.append(draw.svg("path", { d: "M0 9H46", class: "mb-finder-line mb-finder-line" + k }), draw.marker(k, 23, 9));
        return el("li", {}, mark, el("a", { href: linkTo(i), text: archive.titles[i] }),
          el("button", { type: "button", class: "mb-finder-button", text: "Take away", "aria-label": "Take away " + archive.titles[i], onclick: () => {
            pick(i, false);
            showTable(false);
          } }));
      }));
      const perLitre = el("input", { type: "checkbox", onchange: () => {
        state.curves = perLitre.checked ? "litre" : "whole";
        drawChosen();
        address();
      } });
      perLitre.checked = state.curves === "litre";
      const pictures = el("div", { class: "mb-finder-pair" });
      const compare = host.dataset.compare && now.length > 1
        ? el("a", { href: host.dataset.compare + "?with=" + state.pick.map(encodeURIComponent).join(","), text: "Compare these side by side" }) : null;
      chosen.replaceChildren(el("h2", { text: "Curves over each other" }), list,
        el("p", { class: "mb-finder-row" }, el("label", {}, perLitre, el("span", { text: "per litre" })), compare), pictures);
      draw.chosenCurves(pictures, archive, now, { system: state.system, perLitre: perLitre.checked, width: chosen.clientWidth });
    }

    // ---- what it might make ----------------------------------------------------------------------------

    let guessing = 0;
    function guess() {
      clearTimeout(guessing);
      expected.hidden = !plan;
      if (!plan) return;
      const steps = likeness.estimateSteps(archive, plan, state.system);
      const work = () => {
        const until = performance.now() + 12;
        let step;
        do step = steps.next(); while (!step.done && performance.now() < until);
        if (step.done) showExpected(step.value);
        else guessing = setTimeout(work, 0);
      };
      expected.setAttribute("aria-busy", "true");
      guessing = setTimeout(work, 150);
    }

    function showExpected(result) {
      expected.setAttribute("aria-busy", "false");
      const title = el("h2", { text: "What it might make" });
      if (!result.expected.length) {
        expected.replaceChildren(title, el("p", { text: "No estimate: " + result.reasons.join("; ") + "." }));
        return;
      }
      const { system } = state;
      const shown = (e, value) => core.showNumber(e.field, value, system);
      const numbers = result.expected.map((e) => el("div", {}, el("dt", { text: e.field.title }),
        el("dd", {}, shown(e, e.value) + " ", el("span", { text: core.unitOf(e.field, system).label }),
          el("small", { text: `${shown(e, e.least)} to ${shown(e, e.most)}` }),
          el("small", { text: `held ${e.held} of ${e.tried}` + (e.nearTried ? `, near it ${e.nearHeld} of ${e.nearTried}` : "") }),
          el("small", { text: `half within ${(100 * e.error).toFixed(0)} %` }))));
      const level = Math.min(...result.expected.map((e) => e.level));
      const count = Math.max(...result.expected.map((e) => e.relatives.length));
      expected.replaceChildren(title, el("dl", {}, ...numbers),
        el("p", { class: "mb-finder-quiet", text: `From the ${count} builds most like it, brought to its size. The ranges are meant to hold ${Math.floor(100 * level)} % of engines. "Held" is what they did hold when each build was left out in turn and estimated from the rest; "near it" counts only the builds used here. What past builds made is no promise: the dyno decides.` }));
    }

    // ---- address and CSV -------------------------------------------------------------------------------

    let addressing = 0;
    function address() {
      clearTimeout(addressing);
      addressing = setTimeout(() => {
        written = core.writeState(archive, state);
        if (location.hash.slice(1) !== written) history.replaceState(null, "", "#" + written);
      }, 200);
    }

    function save() {
      const extra = plan ? [{ title: "Likeness [%]", value: (i) => (Number.isFinite(distances[i]) ? Math.round(1000 * (1 - distances[i])) / 10 : null) },
        { title: "How it differs", value: (i) => (Number.isFinite(distances[i]) ? likeness.differences(archive, plan, i).map((d) => likeness.differenceText(d, state.system)).join("; ") : null) }] : [];
      const slugs = ["title", "number", ...table.columns.flatMap((slug) => ({ peak_torque: [slug, "peak_torque_speed"], peak_power: [slug, "peak_power_speed"] })[slug] || [slug])];
      const text = core.csv(archive, rows, slugs.filter((s) => !archive.bySlug[s] || archive.bySlug[s].known), state.system, extra);
      const link = el("a", { href: URL.createObjectURL(new Blob(["\ufeff" + text], { type: "text/csv" })), download: "builds.csv" });
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
      say(`${sentence(String(rows.length))} builds saved.`);
    }

    addEventListener("hashchange", () => {
      if (location.hash.slice(1) === written) return;
      replace(core.readState(archive, location.hash));
      ask.fields();
      update("start");
    });
    addEventListener("resize", () => {
      if (Math.abs(host.clientWidth - width) < 8) return;
      width = host.clientWidth;
      drawPoints();
      drawChosen();
    });
    await pause();
    update("start");
    host.dataset.ready = "yes";
  }

  const host = document.querySelector("[data-mb-finder]");
  if (host) {
    if (globalThis.millbookFinderData) start(host, globalThis.millbookFinderData);
    else host.textContent = "The finder's data file is missing beside this page. Publish the archive again.";
  }
})();
