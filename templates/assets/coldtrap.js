// Small comforts. Every page works without this file.
"use strict";

// What was refused, or what came of it, is read and seen first.
const errors = document.getElementById("errors");
const result = document.getElementById("result");
if (errors) {
  errors.focus();
} else if (result) {
  result.focus();
}

// "/" goes to the search box, unless somebody is typing.
document.addEventListener("keydown", (event) => {
  const box = document.querySelector("[data-search]");
  const typing = event.target.closest("input, textarea, select, [contenteditable]");
  if (event.key === "/" && box && !typing && !event.ctrlKey && !event.metaKey && !event.altKey) {
    event.preventDefault();
    box.focus();
    box.select();
  }
});

// Addresses stay short enough to pass on: questions left open are not sent with forms that only ask.
for (const form of document.querySelectorAll('form[method="get"]')) {
  form.addEventListener("formdata", (event) => {
    const empty = [...event.formData].filter(([, value]) => value === "").map(([name]) => name);
    for (const name of empty) {
      event.formData.delete(name);
    }
  });
}

// The search box suggests while somebody types: an editable combobox with a list, as the ARIA
// Authoring Practices describe it. The field stays what it was: Enter without a choice searches.
function suggest(box) {
  const list = document.createElement("ul");
  list.id = `${box.id}-options`;
  list.className = "options";
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "Suggestions");
  list.hidden = true;
  const frame = document.createElement("div");
  frame.className = "combo";
  box.replaceWith(frame);
  frame.append(box, list);
  box.setAttribute("role", "combobox");
  box.setAttribute("aria-autocomplete", "list");
  box.setAttribute("aria-controls", list.id);
  box.setAttribute("aria-expanded", "false");
  let active = -1;
  let waiting = 0;
  let asking = null;
  const choose = (place) => {
    active = place;
    for (const [at, option] of [...list.children].entries()) {
      option.setAttribute("aria-selected", String(at === place));
    }
    const option = list.children[place];
    if (option) {
      box.setAttribute("aria-activedescendant", option.id);
      option.scrollIntoView({ block: "nearest" });
    } else {
      box.removeAttribute("aria-activedescendant");
    }
  };
  const close = () => {
    clearTimeout(waiting);
    if (asking) {
      asking.abort();
    }
    list.hidden = true;
    box.setAttribute("aria-expanded", "false");
    choose(-1);
  };
  const take = (option) => {
    box.value = `${option.dataset.query} `;
    close();
    box.focus();
  };
  const show = (suggestions) => {
    list.replaceChildren(...suggestions.map((suggestion, at) => {
      const option = document.createElement("li");
      option.id = `${list.id}-${at}`;
      option.setAttribute("role", "option");
      option.dataset.query = suggestion.query;
      const sort = document.createElement("span");
      sort.className = "sort";
      sort.textContent = suggestion.sort;
      option.append(suggestion.text, " ", sort);
      return option;
    }));
    const open = suggestions.length > 0 && document.activeElement === box;
    list.hidden = !open;
    box.setAttribute("aria-expanded", String(open));
    choose(-1);
  };
  const ask = async () => {
    if (asking) {
      asking.abort();
    }
    asking = new AbortController();
    const typed = box.value;
    try {
      const answer = await fetch(`/api/suggestions?${new URLSearchParams({ q: typed.slice(-300) })}`, { signal: asking.signal });
      const { suggestions } = await answer.json();
      const before = typed.slice(0, -300);
      show(suggestions.map((suggestion) => ({ ...suggestion, query: before + suggestion.query })));
    } catch {
      // Typing goes on without.
    }
  };
  box.addEventListener("input", () => {
    close();
    waiting = setTimeout(ask, 120);
  });
  box.addEventListener("keydown", (event) => {
    const count = list.hidden ? 0 : list.children.length;
    if (event.key === "Escape" && count > 0) {
      event.preventDefault();
      close();
    } else if (event.key === "ArrowDown" && count === 0) {
      event.preventDefault();
      ask();
    } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && count > 0) {
      event.preventDefault();
      const step = event.key === "ArrowDown" ? 1 : -1;
      const next = active + step;
      choose(next < -1 ? count - 1 : next >= count ? -1 : next);
    } else if (event.key === "Enter" && active >= 0) {
      event.preventDefault();
      take(list.children[active]);
    }
  });
  list.addEventListener("mousedown", (event) => { event.preventDefault(); });
  list.addEventListener("click", (event) => {
    const option = event.target.closest("[role=option]");
    if (option) {
      take(option);
    }
  });
  box.addEventListener("blur", close);
}
for (const box of document.querySelectorAll("[data-search]")) {
  suggest(box);
}

// A report is not lost by a stray tap on a link.
const report = document.querySelector('form.report[method="post"]');
if (report) {
  let changed = errors !== null;
  report.addEventListener("input", (event) => { changed = changed || event.target.name !== ""; });
  report.addEventListener("submit", () => { changed = false; });
  window.addEventListener("beforeunload", (event) => {
    if (changed) {
      event.preventDefault();
    }
  });
}

// On a narrow screen the navigation is a strip: show the part with the current entry.
const here = document.querySelector(".nav [aria-current]");
if (here) {
  const strip = here.closest(".nav");
  strip.scrollLeft = here.offsetLeft + here.offsetWidth / 2 - strip.clientWidth / 2;
}

// A long list of questions can be narrowed by typing a word of one.
function offerNarrowing() {
  for (const list of document.querySelectorAll("[data-narrow]")) {
    if (list.children.length > 10) {
      const label = document.createElement("label");
      label.className = "narrow";
      const box = document.createElement("input");
      box.type = "search";
      box.autocomplete = "off";
      label.append("Show only questions with", box);
      list.before(label);
      box.addEventListener("input", () => {
        const word = box.value.trim().toLowerCase();
        for (const question of list.children) {
          const text = question.querySelector("legend").textContent.toLowerCase();
          const answered = question.querySelector('input:checked:not([value=""])');
          question.hidden = !text.includes(word) && !answered;
        }
      });
      box.addEventListener("keydown", (event) => {
        if (event.key === "Enter") {
          event.preventDefault();
        }
      });
    }
  }
}
offerNarrowing();

// The check sequence is ordered anew in place. If that fails in any way, the form is sent as usual.
const main = document.getElementById("main");
if (document.querySelector("form.evidence")) {
  const heard = document.createElement("p");
  heard.className = "heard";
  heard.setAttribute("role", "status");
  document.body.append(heard);
  let fading = 0;
  document.addEventListener("submit", async (event) => {
    const form = event.target.closest("form.evidence");
    if (!form) {
      return;
    }
    event.preventDefault();
    const stated = [...new FormData(form)].filter(([, value]) => value !== "");
    const address = new URL(form.action);
    address.search = new URLSearchParams(stated).toString();
    const asked = document.activeElement.closest(".beside button");
    heard.textContent = "";
    main.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(address, { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const made = page.getElementById("main");
      if (!answer.ok || !made.querySelector("form.evidence")) {
        throw new Error("no sequence came back");
      }
      main.replaceChildren(...made.childNodes);
      document.title = page.title;
      history.pushState(null, "", address);
    } catch {
      location.assign(address);
      return;
    } finally {
      main.removeAttribute("aria-busy");
    }
    offerNarrowing();
    const refused = document.getElementById("errors");
    // Whoever answers questions goes on with them; whoever stated an outcome sees what comes first now.
    (refused || (asked && document.querySelector(".beside button")) || document.getElementById("steps-title") || main).focus();
    const times = document.querySelector("#times-title + dl");
    const first = document.querySelector(".step h3");
    heard.textContent = `Ordered again. ${times ? times.innerText : ""} ${first ? `First: ${first.textContent}` : ""}`;
    clearTimeout(fading);
    fading = setTimeout(() => { heard.textContent = ""; }, 8000);
  });
  window.addEventListener("popstate", () => { location.reload(); });
}
