// Gives every slider of a bench the name, unit and value that a screen reader says, makes the choice of benches one
// group for the keyboard, and speaks the bench's sentence once the hand rests. Runs once per page.
(() => {
  if (window.halfCycleNaming) return;
  window.halfCycleNaming = true;
  const REST_MS = 500;
  let timer = 0;

  const set = (node, name, value) => {
    if (node && node.getAttribute(name) !== value) node.setAttribute(name, value);
  };
  const text = (node, selector) => node.querySelector(selector)?.textContent ?? "";

  const nameControls = () => {
    for (const slider of document.querySelectorAll(".hc-bench .widget-slider")) {
      const handle = slider.querySelector('[role="slider"]');
      set(handle, "aria-label", text(slider, ".widget-label"));
      set(handle, "aria-valuetext", text(slider, ".widget-readout"));
      set(slider.querySelector(".widget-readout"), "contenteditable", "false"); // shows the choice, takes no typing
    }
    for (const group of document.querySelectorAll(".hc-choice")) {
      set(group, "role", "radiogroup");
      set(group, "aria-label", text(group, ".widget-label"));
      for (const choice of group.querySelectorAll("input")) set(choice, "name", text(group, ".widget-label"));
    }
  };

  const speak = (words) => {
    let voice = document.querySelector(".hc-voice");
    if (!voice) {
      voice = document.createElement("div");
      voice.className = "hc-voice";
      voice.setAttribute("role", "status");
      document.body.append(voice);
    }
    if (voice.textContent !== words) voice.textContent = words;
  };

  const look = (records) => {
    nameControls();
    for (const record of records) {
      const moved = (record.target.parentElement ?? record.target).closest?.(".hc-bench");
      const sentence = moved && text(moved, ".hc-sentence");
      if (!sentence) continue;
      clearTimeout(timer);
      timer = setTimeout(() => speak(sentence), REST_MS);
      return;
    }
  };

  const watch = { childList: true, subtree: true, characterData: true };
  new MutationObserver(look).observe(document.documentElement, watch);
  look([]);
})();
