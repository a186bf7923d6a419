// Sends a form as it is typed, and puts the parts that come back in their places. Without it, every form has its button.
"use strict";
(() => {
  const tab = Math.random().toString(36).slice(2);
  const wait = { range: 60, radio: 10, checkbox: 10, "select-one": 10 };
  let timer = 0, running = null, pending = null;

  const places = (html) => {
    const box = document.createElement("template");
    box.innerHTML = html;
    return box.content;
  };

  // Every element with an id takes the place of the one of that id; what was open stays open.
  const put = (content) => {
    for (const part of [...content.children]) {
      if (part.id === "next") continue;
      const old = part.id && document.getElementById(part.id);
      if (!old) continue;
      const open = [...old.querySelectorAll("details")].map((one) => one.open);
      const held = document.activeElement && old.contains(document.activeElement) ? document.activeElement.id : "";
      old.replaceWith(part);
      const fresh = [...part.querySelectorAll("details")];
      if (fresh.length === open.length) fresh.forEach((one, number) => { one.open = open[number]; });
      if (held) document.getElementById(held)?.focus();
    }
    const version = document.querySelector("#bar input[name=version]")?.value;
    if (version) document.querySelectorAll("input[name=version]").forEach((one) => { one.value = version; });
    // The fields that the bar names are marked where they stand; it counts parts from 1, they from 0.
    const wrong = [...document.querySelectorAll("#bar .problems code")].map((one) => one.textContent.replace(/\[(\d+)\]( "[^"]*")?/g, (_, count) => `.${count - 1}`));
    document.querySelectorAll("form[data-live] [name]").forEach((one) => {
      if (wrong.includes(one.name)) one.setAttribute("aria-invalid", "true");
      else one.removeAttribute("aria-invalid");
    });
  };

  const ask = async (address, options) => {
    const answer = await fetch(address, { ...options, headers: { "X-Tab": tab, "X-Part": "yes", ...options.headers } });
    if (answer.status === 409) return null;
    if (!answer.ok) throw new Error(String(answer.status));
    return places(await answer.text());
  };

  // Sends a form, then asks for the parts that take longer, one after the other; a later change ends it all.
  const send = async (form) => {
    clearTimeout(timer);
    pending = null;
    running?.abort();
    running = new AbortController();
    const own = running, options = { signal: own.signal };
    document.body.classList.add("busy");
    try {
      let content = await ask(form.action, { ...options, method: "POST", body: new URLSearchParams(new FormData(form)) });
      for (const one of form.querySelectorAll("input[type=range]")) {
        const was = form.elements[`was.${one.name}`];
        if (was) was.value = one.value;
      }
      while (content) {
        const next = content.querySelector("#next")?.dataset.then;
        put(content);
        content = next ? await ask(next, options) : null;
      }
    } catch (reason) {
      if (reason.name !== "AbortError") {
        const status = document.querySelector("#bar [role=status]");
        if (status) status.textContent = "The program does not answer. What you typed is still here; start it again and load the page.";
      }
    } finally {
      if (running === own) document.body.classList.remove("busy");
    }
  };

  // What was typed a moment ago goes first, before the page is left or another form is sent.
  const flush = async () => {
    const form = pending;
    clearTimeout(timer);
    pending = null;
    const content = await ask(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), keepalive: true });
    if (content?.querySelector(".problems")) put(content);
    return !document.querySelector("#bar .problems");
  };

  const says = (slider) => {
    const output = document.getElementById(`o-${slider.name}`);
    const marks = slider.dataset.marks ? slider.dataset.marks.split("|") : [];
    if (output) output.textContent = marks[slider.value] ?? output.textContent.replace(/^-?[\d.]+/, slider.value).replace(/°, .*/, "°");
  };

  const heard = (event) => {
    const form = event.target.closest?.("form[data-live]");
    // What is to go into a box waits for its button.
    if (!form || event.target.closest(".add")) return;
    if (event.target.type === "range") says(event.target);
    document.body.classList.add("busy");
    clearTimeout(timer);
    pending = form;
    timer = setTimeout(() => send(form), event.type === "change" ? 0 : wait[event.target.type] ?? 400);
  };

  document.addEventListener("input", heard);
  document.addEventListener("submit", async (event) => {
    const { target, submitter } = event;
    if (target.matches("form[data-live]")) {
      clearTimeout(timer);
      pending = null;
      // A button that has an address of its own takes the whole form there.
      if (submitter?.hasAttribute("formaction")) return;
      event.preventDefault();
      send(target);
    } else if (pending) {
      event.preventDefault();
      if (await flush()) target.requestSubmit(submitter);
    }
  });
  document.addEventListener("click", async (event) => {
    const link = event.target.closest?.("a[href]");
    if (!link || !pending || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    if (await flush()) location.href = link.href;
  });
  addEventListener("pagehide", () => { if (pending) flush(); });
  document.addEventListener("change", async (event) => {
    const into = event.target.dataset?.into;
    if (into && event.target.files[0]) {
      document.getElementById(into).value = await event.target.files[0].text();
      const name = document.getElementById("other");
      if (name && !name.value) name.value = event.target.files[0].name.replace(/\.toml$/i, "");
    }
    if (event.target.id === "units") event.target.form.requestSubmit();
  });

  document.documentElement.classList.add("script");
  for (const button of document.querySelectorAll("[data-locate]")) {
    button.parentElement.hidden = !navigator.geolocation;
    button.addEventListener("click", () => {
      const status = button.parentElement.querySelector("[role=status]");
      navigator.geolocation.getCurrentPosition(({ coords }) => {
        for (const [place, value] of [["latitude", coords.latitude], ["longitude", coords.longitude]]) {
          document.getElementById(`f-place.${place}`).value = value.toFixed(2);
        }
        document.getElementById("f-place.timezone").value = Intl.DateTimeFormat().resolvedOptions().timeZone;
        status.textContent = "Taken over.";
        send(button.closest("form"));
      }, () => { status.textContent = "The browser does not say where it is; type it instead."; });
    });
  }
})();
