// The compare page: the builds named in the address (?with=a,b), curves over each other, only what differs.
(function () {
  "use strict";

  const { core, draw } = globalThis.millbook;
  const { el, sentence } = globalThis.millbook.form;

  function start(host, data) {
    const archive = core.decode(data);
    const rowOf = new Map(archive.slugs.map((slug, i) => [slug, i]));
    const linkTo = (i) => (host.dataset.link || "builds/{slug}.html").replace("{slug}", encodeURIComponent(archive.slugs[i]));
    let system = archive.system, perLitre = false;
    let width = host.clientWidth;

    // The builds named in the address, at most four; names that no build has are told, not shown.
    function wanted() {
      const given = new URLSearchParams(location.search).get("with") || new URLSearchParams(location.hash.slice(1)).get("with") || "";
      const slugs = [...new Set(given.split(",").map((s) => s.trim()).filter(Boolean))];
      return { rows: slugs.map((s) => rowOf.get(s)).filter((i) => i !== undefined).slice(0, 4), lost: slugs.filter((s) => !rowOf.has(s)).length };
    }

    const lay = (...children) => host.replaceChildren(el("div", { class: "mb-finder-stack" }, ...children));

    function show() {
      const { rows, lost } = wanted();
      const finder = host.dataset.finder || "finder.html";
      const back = el("a", { href: finder + (rows.length ? "#pick=" + rows.map((i) => archive.slugs[i]).join(",") : ""), text: "Choose builds in the finder" });
      const notes = [];
      if (lost) notes.push(el("p", { class: "mb-finder-wrong", text: lost === 1 ? "One name in the address is no build of this archive." : `${lost} names in the address are no builds of this archive.` }));
      if (rows.length < 2) {
        lay(...notes, el("p", { text: "Comparing takes two to four builds. Tick them in the finder's table, then follow its link to this page." }), el("p", {}, back));
        return;
      }
      const list = el("ul", { class: "mb-finder-picks" }, ...rows.map((i, k) => {
        const mark = draw.svg("svg", { width: 46, height: 18, viewBox: "0 0 46 18", "aria-hidden": "true" });
        mark.append(draw.svg("path", { d: "M0 9H46", class: "mb-finder-line mb-finder-line" + k }), draw.marker(k, 23, 9));
        return el("li", {}, mark, el("a", { href: linkTo(i), text: archive.titles[i] }));
      }));
      const litre = el("input", { type: "checkbox", onchange: () => {
        perLitre = litre.checked;
        pictures();
      } });
      litre.checked = perLitre;
      const radios = ["inch", "metric"].map((name) => {
        const radio = el("input", { type: "radio", name: "mb-finder-units", value: name, onchange: () => {
          system = name;
          show();
          host.querySelector(`input[value=${name}]`).focus();
        } });
        radio.checked = name === system;
        return el("label", {}, radio, el("span", { text: sentence(name) }));
      });
      const pair = el("div", { class: "mb-finder-pair" });
      const pictures = () => draw.chosenCurves(pair, archive, rows, { system, perLitre, width });
      lay(...notes, list,
        el("div", { class: "mb-finder-row" }, el("fieldset", { class: "mb-finder-units" }, el("legend", { text: "Units" }), ...radios), el("label", {}, litre, el("span", { text: "per litre" })), back),
        pair, ...differences(rows));
      pictures();
    }

    function differences(rows) {
      const { different, alike } = core.compared(archive, rows, system);
      const body = el("tbody", {}, ...different.map((row) => el("tr", {}, el("th", { scope: "row", text: row.title }),
        ...row.values.map((text) => el("td", { text })))));
      const head = el("tr", {}, el("th", { scope: "col", text: "What differs" }),
        ...rows.map((i, k) => el("th", { scope: "col" }, `${"ABCD"[k]} `, el("span", { text: archive.titles[i] }))));
      const table = el("table", { class: "mb-finder-table mb-finder-compared" }, el("caption", { class: "mb-finder-hidden", text: "What differs between the builds" }), el("thead", {}, head), body);
      const out = [el("h2", { text: "What differs" })];
      if (different.length) out.push(el("div", { class: "mb-finder-scroll", role: "region", tabindex: "0", "aria-label": "What differs; scrolls sideways" }, table));
      else out.push(el("p", { text: "Nothing that the archive keeps differs between them." }));
      if (alike.length) out.push(el("p", { class: "mb-finder-quiet", text: `The same in all: ${alike.map((t) => t.toLowerCase()).join(", ")}.` }));
      return out;
    }

    addEventListener("hashchange", show);
    addEventListener("resize", () => {
      if (Math.abs(host.clientWidth - width) < 8) return;
      width = host.clientWidth;
      show();
    });
    // In a step of its own, so that the browser may paint and answer in between.
    setTimeout(() => {
      show();
      host.dataset.ready = "yes";
    });
  }

  const host = document.querySelector("[data-mb-compare]");
  if (host) {
    if (globalThis.millbookFinderData) start(host, globalThis.millbookFinderData);
    else host.textContent = "The finder's data file is missing beside this page. Publish the archive again.";
  }
})();
