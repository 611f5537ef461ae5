// The finder's form: words, ranges, choices and a planned engine.
(function () {
  "use strict";

  const { core } = globalThis.millbook;

  /**
   * Create an element: el("p", {class: "x", text: "y", onclick: f}, child, ...).
   * Text becomes text content, never markup; null children are left out.
   */
  function el(tag, attributes, ...children) {
    const node = document.createElement(tag);
    for (const [key, value] of Object.entries(attributes || {})) {
      if (value === null || value === undefined || value === false) continue;
      if (key === "text") node.textContent = value;
      else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
      else node.setAttribute(key, value === true ? "" : value);
    }
    node.append(...children.filter((child) => child !== null && child !== undefined));
    return node;
  }

  const SYSTEM_NAMES = { inch: "US/imperial", metric: "Metric" };
  const capitalise = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);
  let lastId = 0;
  const uniqueId = () => "mb-finder-" + ++lastId;

  function titleWithUnit(field, system) {
    const unit = core.unitOf(field, system).label;
    return unit ? `${field.title}, ${unit}` : field.title;
  }

  // The range of a field in the archive as texts, for the placeholders of its inputs.
  function rangeTexts(field, system) {
    return field.known ? field.range.map((value) => core.formatNumber(field, value, system)) : ["", ""];
  }

  // The fields below are {node, show(invalid)}: `show` writes the state into the inputs, marks the invalid ones and
  // returns whether the field is in use.

  function rangeField(archive, field, state, onChange) {
    const placeholders = rangeTexts(field, state.system);
    const note = el("p", { class: "mb-finder-wrong", id: uniqueId(), hidden: true });
    const inputs = ["at least", "at most"].map((label, end) => el("input", {
      type: "text", inputmode: "decimal", autocomplete: "off", placeholder: placeholders[end],
      "aria-label": `${titleWithUnit(field, state.system)}, ${label}`, "aria-describedby": note.id,
      oninput: (event) => {
        const texts = state.ranges[field.slug] || ["", ""];
        texts[end] = event.target.value.slice(0, 30);
        state.ranges[field.slug] = texts;
        onChange("filter");
      },
    }));
    const node = el("fieldset", { class: "mb-finder-range" },
      el("legend", { text: titleWithUnit(field, state.system) }), inputs[0],
      el("span", { "aria-hidden": "true", text: "to" }), inputs[1], note);
    return {
      node,
      show(invalid) {
        const texts = state.ranges[field.slug] || ["", ""];
        inputs.forEach((input, end) => {
          if (input.value !== texts[end]) input.value = texts[end];
          input.setAttribute("aria-invalid", String(Boolean(invalid && invalid[end])));
        });
        const [min, max] = texts.map(core.parseNumber);
        const reversed = min !== null && max !== null && min > max;
        note.textContent = invalid ? "Not a number; ignored." : reversed ? "Minimum is above maximum." : "";
        note.hidden = !note.textContent;
        return texts.some((text) => text.trim());
      },
    };
  }

  function choiceField(archive, field, state, onChange) {
    const counts = new Map();
    for (const code of archive.codes[field.slug]) counts.set(code, (counts.get(code) || 0) + 1);
    const options = archive.choices[field.slug].map((label, code) => {
      const checkbox = el("input", { type: "checkbox", value: label, onchange: () => {
        state.choices[field.slug] = options.filter((option) => option.checkbox.checked).map((option) => option.label);
        onChange("filter");
      } });
      const count = el("small", { text: String(counts.get(code) || 0) });
      return { checkbox, label, node: el("label", {}, checkbox, el("span", { text: label }), count) };
    });
    const node = el("fieldset", { class: "mb-finder-choice" }, el("legend", { text: field.title }),
      el("div", { class: "mb-finder-boxes" }, ...options.map((option) => option.node)));
    return {
      node,
      show() {
        const labels = state.choices[field.slug] || [];
        for (const { checkbox, label } of options) checkbox.checked = labels.includes(label);
        return labels.length > 0;
      },
    };
  }

  function planField(archive, field, state, onChange) {
    const id = uniqueId();
    const note = el("p", { class: "mb-finder-wrong", id: uniqueId(), hidden: true, text: "Not a valid number; ignored." });
    const onInput = (event) => {
      state.plan[field.slug] = event.target.value.slice(0, 60);
      onChange("plan");
    };
    let input;
    if (field.kind === "choice") {
      input = el("select", { id, onchange: onInput }, el("option", { value: "", text: "any" }),
        ...archive.choices[field.slug].map((label) => el("option", { value: label, text: label })));
    } else {
      input = el("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", oninput: onInput,
        placeholder: rangeTexts(field, state.system).join("–"), "aria-describedby": note.id });
    }
    const node = el("div", { class: "mb-finder-plan" }, el("label", { for: id, text: titleWithUnit(field, state.system) }), input, note);
    return {
      node,
      show(invalid) {
        const text = state.plan[field.slug] || "";
        if (field.kind === "choice" && text && !archive.choices[field.slug].includes(text)) {
          // The address may plan a choice that no build has.
          input.append(el("option", { value: text, text }));
        }
        if (input.value !== text) input.value = text;
        input.setAttribute("aria-invalid", String(Boolean(invalid)));
        note.hidden = !invalid;
        return Boolean(text.trim());
      },
    };
  }

  // One click for what is asked at a counter: ranges in which the archive's builds lie, and families of fuels. Each is a
  // button that is pressed while the filter holds it; pressed again it takes the filter away. The range next to one that
  // is pressed is added to it.
  function readyChoices(archive, state, onChange) {
    const buttons = [];
    const decimals = (ends) => Math.max(...ends.map((end) => (String(end).split(".")[1] || "").length));
    const row = (title, choices) => {
      const nodes = choices.map(({ text, isSet, set, clear }) => {
        const button = el("button", { type: "button", class: "mb-finder-button", text, onclick: () => {
          if (isSet()) clear();
          else set();
          onChange("filter");
        } });
        buttons.push(() => button.setAttribute("aria-pressed", String(isSet())));
        return button;
      });
      return el("fieldset", { class: "mb-finder-ready" }, el("legend", { text: title }), el("div", {}, ...nodes));
    };
    const rows = [];
    for (const [slug, ranges] of Object.entries(archive.ready)) {
      if (!ranges[state.system].length) continue;
      const all = ranges[state.system];
      const chosen = () => {
        const [min, max] = (state.ranges[slug] || []).map(core.parseNumber);
        const inside = all.filter(([low, high]) => min !== null && max !== null && low >= min && high <= max);
        return inside.length && inside[0][0] === min && inside[inside.length - 1][1] === max ? inside : [];
      };
      rows.push(row(titleWithUnit(archive.bySlug[slug], state.system), all.map((ends, index) => ({
        text: ends.map((end) => end.toFixed(decimals(ends))).join("–"),
        isSet: () => chosen().includes(ends),
        set: () => {
          const next = chosen().some((other) => Math.abs(all.indexOf(other) - index) === 1);
          const joined = next ? [...chosen(), ends].flat() : ends;
          state.ranges[slug] = [Math.min(...joined), Math.max(...joined)].map(String);
        },
        clear: () => delete state.ranges[slug],
      }))));
    }
    const families = archive.choices.fuel_family || [];
    if (families.length > 1) {
      const labels = () => state.choices.fuel_family || [];
      rows.push(row("Fuel", families.map((family) => ({
        text: family,
        isSet: () => labels().includes(family),
        set: () => {
          state.choices.fuel_family = [...labels(), family];
        },
        clear: () => {
          state.choices.fuel_family = labels().filter((label) => label !== family);
        },
      }))));
    }
    return {
      node: el("div", {}, ...rows),
      show: () => buttons.forEach((update) => update()),
    };
  }

  // Fields in groups that open and close; the summary of each says how many of its fields are in use. A closed group
  // with fields in use is opened once.
  function groups(fields, openGroups, createField) {
    const names = [...new Set(fields.map((field) => field.group))];
    return names.map((name) => {
      const members = fields.filter((field) => field.group === name).map((field) => ({ field, ...createField(field) }));
      const countText = el("small", {});
      const details = el("details", { class: "mb-finder-group", open: openGroups.includes(name) },
        el("summary", {}, el("span", { text: capitalise(name) }), countText), ...members.map((member) => member.node));
      return {
        node: details,
        show(invalid) {
          const count = members.map((member) => member.show(invalid[member.field.slug])).filter(Boolean).length;
          countText.textContent = count ? `${count} set` : "";
          if (count && !details.open && !details.dataset.touched) details.open = true;
          details.dataset.touched = "yes";
        },
      };
    });
  }

  /**
   * Create the form.
   * @param {function(string, string=)} onChange called with "filter", "plan", "clear", or "units" and the system
   * @param {boolean} wide whether the screen has room for open sections
   * @returns {{node: Element, createFields: function(), show: function(Object, Object)}} `createFields` creates the
   *   fields anew, for other units; `show` writes the state into them and marks invalid ranges and plans
   */
  function form(archive, state, onChange, wide) {
    const words = el("input", { type: "search", id: uniqueId(), autocomplete: "off", placeholder: "name, part, fuel, ratio",
      oninput: (event) => {
        state.words = event.target.value.slice(0, 200);
        onChange("filter");
      } });
    const radios = ["inch", "metric"].map((system) => {
      const input = el("input", { type: "radio", name: "mb-finder-units", value: system, onchange: () => onChange("units", system) });
      return { system, input, node: el("label", {}, input, el("span", { text: SYSTEM_NAMES[system] })) };
    });
    const readyContainer = el("div", {}), filterContainer = el("div", {}), planContainer = el("div", {});
    let filterGroups = [], planGroups = [], ready = null;
    const known = archive.fields.filter((field) => field.known);

    // The plan's fields are created after the table is painted, unless something is planned already.
    let planTimer = 0;
    function createFields() {
      ready = readyChoices(archive, state, onChange);
      readyContainer.replaceChildren(ready.node);
      filterGroups = groups(known, wide ? ["bottom end", "airflow and fuel"] : [], (field) =>
        (field.kind === "number" ? rangeField : choiceField)(archive, field, state, onChange));
      filterContainer.replaceChildren(...filterGroups.map((group) => group.node));
      planGroups = [];
      clearTimeout(planTimer);
      if (Object.keys(state.plan).length) createPlanFields();
      else planTimer = setTimeout(createPlanFields, 60);
    }
    function createPlanFields() {
      const planable = known.filter((field) => field.weight > 0 && field.group !== "result");
      planGroups = groups(planable, ["bottom end"], (field) => planField(archive, field, state, onChange));
      planContainer.replaceChildren(...planGroups.map((group) => group.node));
    }
    createFields();

    const planned = Object.values(state.plan).some((text) => text.trim());
    const filterSection = el("details", { class: "mb-finder-section", open: wide && !planned },
      el("summary", {}, el("h2", { text: "Filters" })), filterContainer);
    const planSection = el("details", { class: "mb-finder-section", open: wide && planned },
      el("summary", {}, el("h2", { text: "Planned combination" })),
      el("p", { class: "mb-finder-quiet", text: "Enter what you know; builds are ranked by match, " +
        "with an estimated output." }),
      planContainer);
    const clear = el("button", { type: "button", class: "mb-finder-button", text: "Reset", onclick: () => onChange("clear") });
    const node = el("form", { class: "mb-finder-ask", role: "search", "aria-label": "Builds", onsubmit: (event) => event.preventDefault() },
      el("div", { class: "mb-finder-words" }, el("label", { for: words.id, text: "Search builds" }), words),
      el("fieldset", { class: "mb-finder-units" }, el("legend", { text: "Units" }), ...radios.map((radio) => radio.node)),
      readyContainer, filterSection, planSection, clear);

    return {
      node,
      createFields,
      show(invalidRanges, invalidPlan) {
        if (words.value !== state.words) words.value = state.words;
        for (const { system, input } of radios) input.checked = system === state.system;
        ready.show();
        for (const group of filterGroups) group.show(invalidRanges);
        for (const group of planGroups) group.show(invalidPlan);
      },
    };
  }

  globalThis.millbook = Object.assign(globalThis.millbook || {}, { form: { el, form, capitalise, SYSTEM_NAMES } });
})();
