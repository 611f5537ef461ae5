// The compare page: the builds named in the address (?with=a,b), their curves over each other, and what differs.
(function () {
  "use strict";

  const { core, charts } = globalThis.millbook;
  const { el, SYSTEM_NAMES } = globalThis.millbook.form;

  const nextTask = () => new Promise((resolve) => setTimeout(resolve));

  function start(host, data) {
    const archive = core.decode(data);
    archive.system = charts.chosenUnits(archive.system);
    const rowOf = new Map(archive.slugs.map((slug, row) => [slug, row]));
    const linkTo = (row) => (host.dataset.link || "builds/{slug}.html").replace("{slug}", encodeURIComponent(archive.slugs[row]));
    let system = archive.system, perLitre = false;
    let width = host.clientWidth;
    const openFiles = new Set();

    // Read the rows of the builds named in the address, and how many names are unknown.
    function readAddress() {
      const query = new URLSearchParams(location.search), fragment = new URLSearchParams(location.hash.slice(1));
      const names = (query.get("with") || fragment.get("with") || "").split(",").map((name) => name.trim()).filter(Boolean);
      const slugs = [...new Set(names)];
      const known = slugs.filter((slug) => rowOf.has(slug));
      return { rows: known.slice(0, core.MAX_PICKS).map((slug) => rowOf.get(slug)), unknown: slugs.length - known.length };
    }

    const fill = (...children) => host.replaceChildren(el("div", { class: "mb-finder-stack" }, ...children));

    // Draw the charts and, in a task of its own, insert everything, so that nothing moves.
    async function show() {
      const { rows, unknown } = readAddress();
      const picks = rows.length ? "#pick=" + rows.map((row) => archive.slugs[row]).join(",") : "";
      const finderLink = el("a", { href: (host.dataset.finder || "finder.html") + picks, text: "Choose builds in the finder" });
      const note = unknown ? el("p", { class: "mb-finder-wrong", text: unknown === 1
        ? "One build in the link was not found."
        : `${unknown} builds in the link were not found.` }) : null;
      if (rows.length < 2) {
        const help = "Tick two to four builds in the finder, then follow its link to this page.";
        fill(...[note].filter(Boolean), el("p", { text: help }), el("p", {}, finderLink));
        return;
      }
      const legend = el("ul", { class: "mb-finder-picks" }, ...rows.map((row, index) =>
        el("li", {}, charts.legendSample(index), el("a", { href: linkTo(row), text: archive.titles[row] }))));
      const chartPair = el("div", { class: "mb-finder-pair" });
      const drawCurves = () => charts.curvePair(chartPair, archive, rows, { system, perLitre, width });
      const perLitreBox = el("input", { type: "checkbox", onchange: () => {
        perLitre = perLitreBox.checked;
        drawCurves();
      } });
      perLitreBox.checked = perLitre;
      const radios = ["inch", "metric"].map((name) => {
        const radio = el("input", { type: "radio", name: "mb-finder-units", value: name, onchange: () => {
          system = name;
          charts.chooseUnits(name);
          show().then(() => host.querySelector(`input[value=${name}]`).focus());
        } });
        radio.checked = name === system;
        return el("label", {}, radio, el("span", { text: SYSTEM_NAMES[name] }));
      });
      drawCurves();
      const [records] = await Promise.all([loadRecords(rows), nextTask()]);
      fill(...[note].filter(Boolean), legend,
        el("div", { class: "mb-finder-row" },
          el("fieldset", { class: "mb-finder-units" }, el("legend", { text: "Units" }), ...radios),
          el("label", {}, perLitreBox, el("span", { text: "per liter" })), finderLink),
        ...standardsNote(rows), chartPair, ...differences(rows, records));
    }

    // Say so where results are in different standards.
    function standardsNote(rows) {
      const standards = rows.map((row) => core.valueOf(archive, "correction", row));
      if (new Set(standards.filter(Boolean)).size < 2) return [];
      const named = standards.map((standard, index) => standard && `${"ABCD"[index]}: ${standard}`).filter(Boolean);
      return [el("p", { class: "mb-finder-wrong",
        text: `Corrected differently (${named.join("; ")}): power and torque are not directly comparable.` })];
    }

    function differences(rows, records) {
      const { different, identical } = core.compareBuilds(archive, rows, system);
      const nodes = [el("h2", { text: "Differences" })];
      if (different.length) nodes.push(differencesTable(rows, different));
      else nodes.push(el("p", { text: "No recorded differences." }));
      if (identical.length) nodes.push(identicalTitles(identical));
      if (records) nodes.push(el("h2", { text: "Records" }), ...core.compareRecords(records, system).map((file) => fileFold(rows, file)));
      return nodes;
    }

    const identicalTitles = (titles) =>
      el("p", { class: "mb-finder-quiet", text: `Identical: ${titles.map(core.inSentence).join(", ")}.` });

    // A fold for one file of the records. Its table is made when it is opened: a record has hundreds of fields.
    function fileFold(rows, { title, different, identical }) {
      const count = different.length === 1 ? "1 difference" : `${different.length || "no"} differences`;
      const fold = el("details", { class: "mb-finder-section" },
        el("summary", {}, title, el("small", { text: `${count}, ${identical.length} identical` })));
      const fillFold = () => {
        if (fold.childElementCount > 1) return;
        if (different.length) fold.append(differencesTable(rows, different, title));
        if (identical.length) fold.append(identicalTitles(identical));
      };
      fold.addEventListener("toggle", () => {
        if (fold.open) openFiles.add(title), fillFold();
        else openFiles.delete(title);
      });
      if (openFiles.has(title)) {
        fillFold();
        fold.open = true;
      }
      return fold;
    }

    // Load the script with a build's record and return the record; null where it cannot be loaded.
    const loadRecord = (slug) => new Promise((resolve) => {
      const loaded = () => resolve(globalThis.millbookRecords?.[slug] || null);
      if (globalThis.millbookRecords?.[slug]) loaded();
      else document.head.append(el("script", { src: host.dataset.record.replace("{slug}", encodeURIComponent(slug)),
        onload: loaded, onerror: loaded }));
    });

    async function loadRecords(rows) {
      if (!host.dataset.record) return null;
      const records = await Promise.all(rows.map((row) => loadRecord(archive.slugs[row])));
      return records.every(Boolean) ? records : null;
    }

    function differencesTable(rows, different, title = "Differences") {
      const head = el("tr", {}, el("th", { scope: "col", text: "Field" }),
        ...rows.map((row, index) => el("th", { scope: "col" }, `${"ABCD"[index]} `, el("span", { text: archive.titles[row] }))));
      const body = el("tbody", {}, ...different.map(({ title, values }) =>
        el("tr", {}, el("th", { scope: "row", text: title }), ...values.map((text) => el("td", { text })))));
      const table = el("table", { class: "mb-finder-table mb-finder-compared" },
        el("caption", { class: "mb-finder-hidden", text: `${title}: what differs between the builds` }), el("thead", {}, head), body);
      return el("div", { class: "mb-finder-scroll", role: "region", tabindex: "0",
        "aria-label": `${title}; scrolls sideways` }, table);
    }

    addEventListener("hashchange", show);
    addEventListener("resize", () => {
      if (Math.abs(host.clientWidth - width) < 8) return;
      width = host.clientWidth;
      show();
    });
    // In a task of its own, so that the browser can paint and respond first.
    nextTask().then(show).then(() => {
      host.dataset.ready = "yes";
    });
  }

  const host = document.querySelector("[data-mb-compare]");
  if (host) {
    if (globalThis.millbookFinderData) start(host, globalThis.millbookFinderData);
    else host.textContent = "The finder's data file is missing. Publish the archive again.";
  }
})();
