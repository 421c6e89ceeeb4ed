#include "Report/Markup.h"

#include <catch2/catch.hpp>

using namespace spillwright;

TEST_CASE("nothing that is written as text or as a value becomes markup") {
    Markup page;
    {
        const auto body = page.in("p", {{"class", ""}, {"title", "a \"b\" <c> 'd' & e"}});
        page.text("</p><script>alert('x')</script> & \"more\"");
        page.empty("br");
        page.element("b", "1 < 2");
    }
    CHECK(page.take() == "<p title=\"a &quot;b&quot; &lt;c&gt; &#39;d&#39; &amp; e\">"
                         "&lt;/p&gt;&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt; &amp; &quot;more&quot;"
                         "<br/><b>1 &lt; 2</b></p>");
}

TEST_CASE("what no page can hold is shown as the replacement character") {
    CHECK(escaped("caf\xC3\xA9 \xE2\x99\xAD") == "caf\xC3\xA9 \xE2\x99\xAD");
    CHECK(escaped(std::string("a\x01") + "b") == "a\xEF\xBF\xBD" + std::string("b"));
    CHECK(escaped("caf\xE9") == "caf\xEF\xBF\xBD");                   // Latin-1
    CHECK(escaped("\xED\xA0\x80").find('\xED') == std::string::npos); // half of a surrogate pair
    CHECK(escaped(std::string("a\0b", 3)) == "a\xEF\xBF\xBD" + std::string("b"));
    CHECK(escaped("a\n\tb") == "a\n\tb");
}

TEST_CASE("elements close in the order in which they were opened") {
    Markup page;
    {
        const auto outer = page.in("ul");
        for (const char* words : {"one", "two"}) {
            const auto item = page.in("li");
            page.text(words);
        }
    }
    page.raw("<!-- -->");
    CHECK(page.take() == "<ul><li>one</li><li>two</li></ul><!-- -->");
}
