// Bars over a moving picture that go away by themselves, so that nothing lies upon it.

const SECONDS = 3;

export class ShyBars {
  /** `box` holds elements of class "bar"; they stay for as long as `needed()` says. */
  constructor(box, needed = () => false) {
    this.box = box;
    this.needed = needed;
    this.timer = 0;
    box.addEventListener("focusin", () => this.show());
    box.addEventListener("pointermove", (event) => {
      if (event.pointerType === "mouse") this.show();
    });
  }

  get hidden() {
    return this.box.classList.contains("bare");
  }

  show() {
    this.box.classList.remove("bare");
    this.stop();
    this.timer = setTimeout(() => {
      // a button that was reached by keyboard must not vanish under the finger
      if (this.needed() || this.box.querySelector(".bar :focus-visible")) this.show();
      else this.box.classList.add("bare");
    }, SECONDS * 1000);
  }

  toggle() {
    if (this.hidden) this.show();
    else this.box.classList.add("bare");
  }

  stop() {
    clearTimeout(this.timer);
  }
}
